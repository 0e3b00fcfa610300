#!/bin/sh
# Asks what an animal needs. The answer is JSON; a problem is told in it too.
set -eu
curl -sS http://localhost:8080/v1/sizings \
  -H 'Content-Type: application/json' \
  --data '{"species": "beardie", "animals": [{"count": 1, "stage": "adult"}]}'

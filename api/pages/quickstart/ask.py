# Asks what an animal needs and prints the size advised. The standard library is enough.
import json
import sys
import urllib.error
import urllib.request

question = {"species": "beardie", "animals": [{"count": 1, "stage": "adult"}]}
request = urllib.request.Request(
    "http://localhost:8080/v1/sizings",
    data=json.dumps(question).encode(),
    headers={"Content-Type": "application/json"},
)
try:
    with urllib.request.urlopen(request, timeout=30) as response:
        answer = json.load(response)
except urllib.error.HTTPError as e:  # a problem document names every bad field
    problem = json.load(e)
    for error in problem.get("errors", []):
        print(error["field"], error["reason"], error.get("remedy", ""), file=sys.stderr)
    sys.exit(problem["title"])

advised = answer["advised"]
if advised["standing"] != "known":
    sys.exit("no rule held gives a size")
length, width = advised["length"], advised["width"]
print(f"{answer['species']['common_name']}: {length['value']} {length['unit']} by {width['value']} {width['unit']}")
for source in answer["sources"]:
    print("-", source["title"])

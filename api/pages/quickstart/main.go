// Asks what an animal needs and prints the size advised. The standard library is enough.
package main

import (
	"encoding/json"
	"fmt"
	"log"
	"net/http"
	"strings"
	"time"
)

type length struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

type answer struct {
	Species struct {
		CommonName string `json:"common_name"`
	} `json:"species"`
	Advised struct {
		Standing string `json:"standing"`
		Length   length `json:"length"`
		Width    length `json:"width"`
	} `json:"advised"`
	Sources []struct {
		Title string `json:"title"`
	} `json:"sources"`
}

// problem names every bad field.
type problem struct {
	Title  string `json:"title"`
	Errors []struct {
		Field, Reason, Remedy string
	} `json:"errors"`
}

func main() {
	client := &http.Client{Timeout: 30 * time.Second}
	question := strings.NewReader(`{"species": "beardie", "animals": [{"count": 1, "stage": "adult"}]}`)
	response, err := client.Post("http://localhost:8080/v1/sizings", "application/json", question)
	if err != nil {
		log.Fatal(err)
	}
	defer response.Body.Close()
	if response.StatusCode != http.StatusOK {
		var p problem
		if err := json.NewDecoder(response.Body).Decode(&p); err != nil {
			log.Fatal(response.Status, ": ", err)
		}
		for _, e := range p.Errors {
			log.Println(e.Field, e.Reason, e.Remedy)
		}
		log.Fatal(p.Title)
	}
	var a answer
	if err := json.NewDecoder(response.Body).Decode(&a); err != nil {
		log.Fatal(err)
	}
	if a.Advised.Standing != "known" {
		log.Fatal("no rule held gives a size")
	}
	fmt.Printf("%s: %v %s by %v %s\n", a.Species.CommonName, a.Advised.Length.Value, a.Advised.Length.Unit, a.Advised.Width.Value, a.Advised.Width.Unit)
	for _, s := range a.Sources {
		fmt.Println("-", s.Title)
	}
}

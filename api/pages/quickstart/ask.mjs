// Asks what an animal needs and prints the size advised. Node 18 or newer is enough.
const question = { species: "beardie", animals: [{ count: 1, stage: "adult" }] };
const response = await fetch("http://localhost:8080/v1/sizings", {
  method: "POST",
  headers: { "Content-Type": "application/json" },
  body: JSON.stringify(question),
  signal: AbortSignal.timeout(30_000),
});
const answer = await response.json();
if (!response.ok) { // a problem document names every bad field
  for (const e of answer.errors ?? []) console.error(e.field, e.reason, e.remedy ?? "");
  console.error(answer.title);
  process.exit(1);
}
const { standing, length, width } = answer.advised;
if (standing !== "known") {
  console.error("no rule held gives a size");
  process.exit(1);
}
console.log(`${answer.species.common_name}: ${length.value} ${length.unit} by ${width.value} ${width.unit}`);
for (const source of answer.sources) console.log("-", source.title);

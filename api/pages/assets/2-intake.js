// A list is answered row by row: here the rows come into the page as they are answered.
const listForm = document.querySelector("form[data-list]");
if (listForm && window.ReadableStream) listForm.addEventListener("submit", async (e) => {
  if (listForm.elements.answer.value !== "page") return;
  e.preventDefault();
  const shown = document.getElementById("answers"), table = shown.querySelector("table"), rows = table.tBodies[0] || table.createTBody(), bar = shown.querySelector("progress");
  const at = shown.querySelector(".at"), stop = shown.querySelector(".stop"), summary = document.getElementById("summary");
  const body = new FormData(), halt = new AbortController();
  body.append("part", "rows"); // before the rows, which come last
  for (const [name, value] of new FormData(listForm)) body.append(name, value);
  rows.textContent = summary.textContent = at.textContent = "";
  bar.removeAttribute("value");
  shown.hidden = stop.hidden = bar.hidden = false;
  stop.onclick = () => halt.abort();
  shown.scrollIntoView();
  let end = null, rest = "";
  const take = (line) => {
    const done = /^<!--done (\d+) row (\d+)-->/.exec(line);
    if (end !== null) end += line + "\n";
    else if (done) { bar.value = done[1]; at.textContent = at.dataset.row + " " + done[2]; }
    else if (line.startsWith("<!--summary-->")) end = "";
    else if (line) rows.insertAdjacentHTML("beforeend", line);
  };
  try {
    const answer = await fetch(listForm.action, { method: "POST", body, signal: halt.signal });
    if (!answer.ok) {
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      summary.replaceChildren(...page.querySelectorAll("main > h1, main > p:not(.do)"));
      bar.hidden = stop.hidden = true;
      return;
    }
    const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
    for (let chunk = await reader.read(); !chunk.done; chunk = await reader.read()) {
      const lines = (rest + chunk.value).split("\n");
      rest = lines.pop();
      lines.forEach(take);
    }
    take(rest);
    if (end === null) throw new Error("cut short");
    summary.innerHTML = end;
    bar.hidden = true;
    at.textContent = "";
  } catch (failed) {
    at.textContent = halt.signal.aborted ? at.dataset.stopped : at.dataset.failed;
  }
  stop.hidden = true;
});

// Everything works without this. It only saves a press or a look.
"use strict";
// A choice of units is sent as soon as it is made.
document.querySelectorAll("form[data-now] select").forEach((s) => s.addEventListener("change", () => s.form.requestSubmit()));
// Blank fields are left out of the address, so that it can be read and shared.
document.querySelectorAll("form.ask[method=get]").forEach((f) => f.addEventListener("formdata", (e) => {
  for (const [name, value] of [...e.formData.entries()]) {
    if (value === "") e.formData.delete(name);
  }
}));
// After a refusal the first field to mend has the focus.
const wrong = document.querySelector(".bad input, .bad select, .bad textarea");
if (wrong) wrong.focus();
document.querySelectorAll("button[data-print]").forEach((b) => { b.hidden = false; b.addEventListener("click", () => window.print()); });

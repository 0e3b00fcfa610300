// Everything works without this. It only saves a press or a look.
"use strict";
// A choice made by pointer is sent at once. By keyboard one passes through others on
// the way to it, so there the button sends it.
document.querySelectorAll("form[data-now] select").forEach((s) => {
  let keyed = false;
  s.addEventListener("keydown", () => { keyed = true; });
  s.addEventListener("pointerdown", () => { keyed = false; });
  s.addEventListener("change", () => { if (!keyed) s.form.requestSubmit(); });
});
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

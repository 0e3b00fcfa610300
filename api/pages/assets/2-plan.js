// A question that takes a moment says that it is being worked on.
document.querySelectorAll("button[data-busy]").forEach((b) => {
  const words = b.textContent;
  b.form.addEventListener("submit", (e) => { if (e.submitter === b) b.textContent = b.dataset.busy; });
  window.addEventListener("pageshow", () => { b.textContent = words; });
});
// A link to a field in a fold opens the fold.
const unfold = () => {
  for (let e = document.getElementById(decodeURIComponent(location.hash.slice(1))); e; e = e.parentElement) if (e.tagName === "DETAILS") e.open = true;
};
window.addEventListener("hashchange", unfold);
unfold();

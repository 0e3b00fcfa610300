// A question that takes a moment says that it is being worked on.
document.querySelectorAll("button[data-busy]").forEach((b) => {
  const words = b.textContent;
  b.form.addEventListener("submit", (e) => { if (e.submitter === b) b.textContent = b.dataset.busy; });
  window.addEventListener("pageshow", () => { b.textContent = words; });
});

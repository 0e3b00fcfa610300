// A question tried from the reference is answered in the page. The same form without
// script leads to a page with the same answer.
(() => {
  const copies = () => document.querySelectorAll("button[data-copy][hidden]").forEach((b) => {
    if (!navigator.clipboard) return;
    b.hidden = false;
    b.addEventListener("click", () => navigator.clipboard.writeText(document.getElementById(b.dataset.copy).textContent));
  });
  copies();
  document.querySelectorAll("form[data-try]").forEach((form) => form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const old = document.getElementById("answer");
    old.setAttribute("aria-busy", "true");
    try {
      const page = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) });
      const fresh = new DOMParser().parseFromString(await page.text(), "text/html").getElementById("answer");
      old.replaceWith(document.importNode(fresh, true));
      document.getElementById("answer").focus();
      copies();
    } catch {
      form.submit();
    }
  }));
})();

// A link to a field opens the part that it is folded away in.
const reveal = () => {
  const to = location.hash && document.getElementById(location.hash.slice(1));
  for (let part = to; part; part = part.parentElement) if (part.localName === "details") part.open = true;
  if (to && to.id.startsWith("f-")) to.scrollIntoView();
};
addEventListener("hashchange", reveal);
reveal();

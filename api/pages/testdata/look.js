// Checks that are run in a page by the browser tests. Each gives a list of faults in words.
"use strict";
globalThis.look = (() => {
  const short = (s) => s.trim().replace(/\s+/g, " ").slice(0, 60);
  const what = (e) => `<${e.tagName.toLowerCase()}${e.id ? " id=" + e.id : ""}> “${short(e.textContent || e.value || e.getAttribute("aria-label") || "")}”`;
  const seen = (e) => e.checkVisibility({ visibilityProperty: true, opacityProperty: true }) && e.getClientRects().length > 0;
  const off = (r) => r.right <= 0 || r.bottom + scrollY <= 0; // moved out of the page, as the skip link is

  // wide: nothing may make the page wider than the window, but what scrolls by itself.
  const wide = () => {
    const page = document.scrollingElement, width = document.documentElement.clientWidth, faults = [];
    if (page.scrollWidth <= width) return faults;
    for (const e of document.body.querySelectorAll("*")) {
      const r = e.getBoundingClientRect();
      if (e.parentElement.closest(".scroll, pre, textarea") && e.closest(".scroll, pre, textarea").getBoundingClientRect().right <= width + 1) continue; // that scrolls by itself
      if (r.right > width + 1 && seen(e) && !off(r) && ![...e.children].some((c) => c.getBoundingClientRect().right > width + 1)) faults.push(`${what(e)} reaches to ${Math.round(r.right)}`);
    }
    return [`the page is ${page.scrollWidth} wide, wider than the window's ${width}: ${faults.slice(0, 5).join("; ")}`];
  };

  // Colours, as the browser computes them: rgb(), rgba() and color(srgb …).
  const colour = (s) => {
    const n = (s.match(/[\d.]+%?/g) || []).map((x) => (x.endsWith("%") ? parseFloat(x) / 100 : parseFloat(x)));
    if (s === "transparent" || s === "none" || n.length < 3) return [0, 0, 0, 0];
    const scale = s.startsWith("color(") ? 1 : 255;
    return [n[0] / scale, n[1] / scale, n[2] / scale, n[3] ?? 1];
  };
  const over = (top, below) => {
    const a = top[3] + below[3] * (1 - top[3]);
    return a === 0 ? [0, 0, 0, 0] : [...[0, 1, 2].map((i) => (top[i] * top[3] + below[i] * below[3] * (1 - top[3])) / a), a];
  };
  const light = (c) => {
    const l = c.slice(0, 3).map((x) => (x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4));
    return 0.2126 * l[0] + 0.7152 * l[1] + 0.0722 * l[2];
  };
  const ratio = (a, b) => (Math.max(light(a), light(b)) + 0.05) / (Math.min(light(a), light(b)) + 0.05);
  const behind = (e) => {
    let c = [0, 0, 0, 0];
    const svg = e.ownerSVGElement;
    if (svg) { // the shapes drawn before the text, under its middle
      const t = e.getBoundingClientRect(), x = t.left + t.width / 2, y = t.top + t.height / 2;
      const shapes = [...svg.querySelectorAll("rect, circle")].filter((s) => s.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_FOLLOWING);
      for (const s of shapes.reverse()) {
        const r = s.getBoundingClientRect(), style = getComputedStyle(s);
        if (x < r.left || x > r.right || y < r.top || y > r.bottom) continue;
        const fill = colour(style.fill);
        fill[3] *= parseFloat(style.fillOpacity) * parseFloat(style.opacity);
        c = over(c, fill);
      }
    }
    for (let at = svg || e; at; at = at.parentElement) {
      c = over(c, colour(getComputedStyle(at).backgroundColor));
      if (c[3] > 0.999) break;
    }
    return over(c, [1, 1, 1, 1]);
  };
  // contrast: text against what is behind it, 4.5 to 1, large text 3 to 1.
  const contrast = () => {
    const faults = new Set(), walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let n = walk.nextNode(); n; n = walk.nextNode()) {
      const e = n.parentElement;
      if (!n.data.trim() || ["SCRIPT", "OPTION", "title", "desc"].includes(e.tagName) || !seen(e)) continue;
      if (e.closest("[disabled]")) continue;
      const style = getComputedStyle(e), back = behind(e);
      let front = colour(e.ownerSVGElement ? style.fill : style.color);
      for (let at = e; at; at = at.parentElement) front[3] *= parseFloat(getComputedStyle(at).opacity);
      front = over(front, back);
      const size = parseFloat(style.fontSize), large = size >= 24 || (size >= 18.66 && parseInt(style.fontWeight) >= 700);
      const got = ratio(front, back);
      if (got < (large ? 3 : 4.5) - 0.005) faults.add(`${what(e)}: ${got.toFixed(2)} to 1`);
    }
    return [...faults].slice(0, 10);
  };

  // pictures: every one is there.
  const pictures = () => [...document.images].filter((i) => i.loading !== "lazy" && (!i.complete || i.naturalWidth === 0)).map((i) => `${i.src} is not there`);

  // hidden: what is marked as hidden is.
  const hidden = () => [...document.querySelectorAll("[hidden]")].filter(seen).map((e) => `${what(e)} is in sight`);

  // first: the enter key in a field presses the first button of its form, which must be
  // the one that asks, not one that adds a row or leads to another page.
  const first = () => {
    const faults = [];
    for (const form of document.forms) {
      if (![...form.elements].some((e) => e.matches("input:not([type=hidden]), textarea"))) continue;
      const b = [...document.querySelectorAll("button")].find((b) => b.form === form && b.type === "submit" && !b.disabled);
      if (b && (b.hasAttribute("formaction") || b.formNoValidate)) faults.push(`the enter key in ${form.getAttribute("action")} presses ${what(b)}`);
    }
    return faults;
  };

  // twins: two fields of one form that are told by the same name can't be told apart by
  // who does not see them.
  const twins = () => {
    const text = (ids) => ids.split(" ").map((id) => document.getElementById(id)?.textContent.trim() ?? "").join(" ");
    const name = (e) => e.getAttribute("aria-label") || (e.hasAttribute("aria-labelledby") ? text(e.getAttribute("aria-labelledby")) : "") || e.labels?.[0]?.textContent.trim() || e.value || "";
    const faults = [];
    for (const form of document.forms) {
      const known = new Map();
      for (const e of form.elements) {
        if (!e.matches("input:not([type=hidden]), select, textarea")) continue;
        let path = name(e);
        for (let g = e.parentElement.closest("[role=group], fieldset"); g; g = g.parentElement.closest("[role=group], fieldset")) {
          path = (g.tagName === "FIELDSET" ? g.querySelector(":scope > legend")?.textContent.trim() || name(g) : name(g)) + " / " + path;
        }
        if (known.has(path)) faults.push(`two fields are called “${path.replace(/\s+/g, " ")}”: ${known.get(path)} and ${e.name}`);
        known.set(path, e.name);
      }
    }
    return faults;
  };

  // targets: what is pressed is at least 24 × 24, but a link within a text, and a
  // smaller box that a label of that size presses for it.
  const targets = () => {
    const faults = [];
    for (const e of document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary")) {
      const r = e.getBoundingClientRect();
      if (!seen(e) || off(r)) continue;
      if (e.tagName === "A" && getComputedStyle(e).display === "inline") continue;
      const label = e.closest("label")?.getBoundingClientRect();
      const w = Math.max(r.width, label?.width ?? 0), h = Math.max(r.height, label?.height ?? 0);
      if (w < 23.5 || h < 23.5) faults.push(`${what(e)} is ${Math.round(w)} × ${Math.round(h)}`);
    }
    return faults.slice(0, 10);
  };

  // stops: what the tab key should stop at, in the order of the page.
  let order = [];
  const stops = () => {
    order = [];
    const groups = new Set();
    for (const e of document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex], .scroll, pre")) {
      if (e.disabled || e.tabIndex < 0 && !e.matches(".scroll, pre") || !e.checkVisibility({ visibilityProperty: true })) continue;
      if (e.matches(".scroll, pre") && !e.hasAttribute("tabindex") && (e.scrollWidth <= e.clientWidth || e.querySelector("a[href], button, input, select, textarea"))) continue; // the browser stops at what scrolls
      if (e.type === "radio") {
        const group = (e.form ? [...document.forms].indexOf(e.form) : "") + " " + e.name;
        const chosen = [...document.getElementsByName(e.name)].find((r) => r.form === e.form && r.checked);
        if (groups.has(group) || (chosen && chosen !== e)) continue;
        groups.add(group);
      }
      order.push(e);
    }
    return order.length;
  };
  // stop: which of them has the focus, and whether that can be seen.
  const stop = () => {
    const e = document.activeElement;
    const at = order.indexOf(e);
    if (!e || e === document.body) return { at: -1, what: "nothing", fault: "" };
    const style = getComputedStyle(e), r = e.getClientRects()[0] ?? e.getBoundingClientRect();
    let fault = "";
    if (!(style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2)) fault = "does not show that it has the focus";
    else if (r.bottom <= 0 || r.top >= innerHeight || r.right <= 0 || r.left >= innerWidth) fault = "has the focus out of sight";
    return { at, what: what(e), fault };
  };

  const axe = async () => {
    const result = await globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] });
    return result.violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(" | ")}`);
  };
  return { wide, contrast, pictures, hidden, first, twins, targets, stops, stop, axe };
})();

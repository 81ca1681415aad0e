// Looks through a page for what keeps people from using it, and returns what it finds as sentences. The rules are of WCAG 2.2:
// 1.1.1 names of pictures, 1.3.1 structure, 1.4.3 contrast, 1.4.10 reflow, 2.4.2 title, 2.4.6 headings, 3.1.1 language, 4.1.2 names.
(() => {
  "use strict";
  const found = [];
  const all = (selector) => [...document.querySelectorAll(selector)];
  const where = (e) => e.tagName.toLowerCase() + (e.id ? "#" + e.id : "") + (e.className && e.className.baseVal === undefined ? "." + e.className : "") + " '" + (e.textContent || e.value || "").trim().slice(0, 40) + "'";
  const shown = (e) => e.checkVisibility({ visibilityProperty: true, opacityProperty: true });
  const named = (e) => {
    const ids = (e.getAttribute("aria-labelledby") || "").split(/\s+/).filter(Boolean);
    if (ids.length) return ids.map((id) => document.getElementById(id)?.textContent || "").join(" ").trim();
    return (e.getAttribute("aria-label") || e.getAttribute("title") || "").trim();
  };

  if (!document.documentElement.lang) found.push("the page has no language");
  if (!document.title.trim()) found.push("the page has no title");
  if (document.documentElement.scrollWidth > innerWidth) {
    const wide = all("body *").filter((e) => shown(e) && !e.closest(".scroll, pre, nav, svg") && e.getBoundingClientRect().right > innerWidth + 1);
    found.push(`the page is ${document.documentElement.scrollWidth} px wide in a window of ${innerWidth}: ${wide.slice(0, 3).map(where).join("; ")}`);
  }
  if (all("main").filter(shown).length !== 1) found.push("there is not one main");
  const loose = [...document.body.children].filter((e) => shown(e) && e.textContent.trim() && !e.matches("main, header, nav, footer, .skip, [aria-hidden]"));
  for (const e of loose) found.push("outside every landmark: " + where(e));
  for (const e of all("nav, [role=region], [role=search]")) if (!named(e)) found.push("a landmark without a name: " + where(e));

  const headings = all("h1, h2, h3, h4, h5, h6").filter(shown);
  if (headings.filter((h) => h.tagName === "H1").length !== 1) found.push("there is not one h1");
  headings.reduce((before, h) => {
    const level = Number(h.tagName[1]);
    if (level > before + 1) found.push(`a heading of level ${level} after one of ${before}: ` + where(h));
    return level;
  }, document.querySelector("main h1") && headings[0]?.closest("nav") ? 1 : 0);
  for (const h of headings) if (!h.textContent.trim()) found.push("an empty heading: " + where(h));

  const ids = new Map();
  for (const e of all("[id]")) ids.set(e.id, (ids.get(e.id) || 0) + 1);
  for (const [id, n] of ids) if (n > 1) found.push(`${n} things have the id ${id}`);
  for (const name of ["aria-labelledby", "aria-describedby", "for"]) {
    for (const e of all(`[${name}]`)) {
      for (const id of e.getAttribute(name).split(/\s+/)) if (!ids.has(id)) found.push(`${name} of ${where(e)} names ${id}, which is not there`);
    }
  }
  for (const e of all('a[href^="#"]')) {
    const id = decodeURIComponent(e.getAttribute("href").slice(1));
    if (id && !ids.has(id)) found.push("a link leads to nothing on the page: " + where(e) + " #" + id);
  }

  for (const e of all("input:not([type=hidden]), select, textarea")) {
    if (!(e.labels && e.labels.length && e.labels[0].textContent.trim()) && !named(e)) found.push("a field without a label: " + where(e) + " " + e.name);
  }
  for (const e of all("button, a[href]")) if (!e.textContent.trim() && !named(e)) found.push("a control without a name: " + where(e));
  for (const e of all("img")) if (!e.hasAttribute("alt")) found.push("a picture without a text: " + e.src);
  for (const e of all("svg")) if (shown(e) && e.getAttribute("aria-hidden") !== "true" && !named(e)) found.push("a drawing without a name: " + where(e));
  for (const e of all("table")) if (!e.querySelector("th[scope]")) found.push("a table without heads: " + where(e));
  for (const e of all("ul, ol")) for (const c of e.children) if (c.tagName !== "LI") found.push("a list holds what is no item: " + where(c));
  for (const e of all("dl")) for (const c of e.children) if (!["DT", "DD", "DIV"].includes(c.tagName)) found.push("a list of terms holds neither: " + where(c));
  for (const e of all("*")) {
    if (e.scrollWidth > e.clientWidth + 1 && ["auto", "scroll"].includes(getComputedStyle(e).overflowX) && shown(e) && e.tabIndex < 0 && !e.querySelector("a, button, input")) found.push("what scrolls cannot be reached by the keyboard: " + where(e));
  }

  // Contrast by the formula of WCAG 2.2: relative luminance, (L1 + 0.05) / (L2 + 0.05).
  const rgba = (text) => {
    const n = text.match(/[\d.]+/g)?.map(Number) || [0, 0, 0, 0];
    return [n[0], n[1], n[2], n.length > 3 ? n[3] : 1];
  };
  const luminance = ([r, g, b]) => {
    const [x, y, z] = [r, g, b].map((v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4));
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const over = (top, below) => [0, 1, 2].map((i) => top[i] * top[3] + below[i] * (1 - top[3])).concat(1);
  const canvas = rgba(getComputedStyle(document.body).backgroundColor);
  const ground = (e) => {
    const layers = [];
    for (let at = e; at; at = at.parentElement) {
      const style = getComputedStyle(at);
      layers.push(rgba(style.backgroundColor));
      if (layers.at(-1)[3] === 1) break;
    }
    return layers.reverse().reduce((below, top) => over(top, below), canvas[3] === 1 ? canvas : [255, 255, 255, 1]);
  };
  // In a drawing a text stands on the page, or, where it says so, on the night.
  const named_colour = (e, name) => {
    const probe = document.createElement("i");
    probe.style.color = getComputedStyle(e).getPropertyValue(name);
    document.body.append(probe);
    const colour = rgba(getComputedStyle(probe).color);
    probe.remove();
    return colour;
  };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let texts = 0;
  const told = new Set();
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || !e || ["TITLE", "DESC", "STYLE", "SCRIPT", "OPTION"].includes(e.tagName.toUpperCase()) || !shown(e)) continue;
    const box = e.getBoundingClientRect();
    if (box.width < 2 || box.right < 0) continue;
    const style = getComputedStyle(e), svg = e.closest("svg");
    const below = svg && e.classList.contains("on-dark") ? named_colour(e, "--night") : ground(svg ? svg.parentElement : e);
    const ink = over(rgba(svg ? style.fill : style.color), below);
    const [a, b] = [luminance(ink), luminance(below)].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05), px = parseFloat(style.fontSize);
    const large = px >= 24 || (px >= 18.66 && Number(style.fontWeight) >= 700);
    texts++;
    const words = `contrast ${ratio.toFixed(2)} of ${style.color} on ${below.slice(0, 3)}`;
    if (ratio < (svg || !large ? 4.5 : 3) && !told.has(words)) { told.add(words); found.push(words + ": " + where(e)); }
  }
  if (texts < 5) found.push(`only ${texts} texts were seen`);
  return found;
})();

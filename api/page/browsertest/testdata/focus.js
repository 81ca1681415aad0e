// Says which stop has the focus and whether that can be seen; -1: none has.
(() => {
  const e = document.activeElement;
  if (!e || e === document.body || !e.dataset || e.dataset.stop === undefined) return { stop: -1, seen: false, what: e ? e.tagName + "#" + e.id : "" };
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  const outlined = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  return { stop: Number(e.dataset.stop), seen: outlined && box.width > 0 && box.bottom > 0 && box.top < innerHeight && box.right > 0, what: e.tagName + " " + (e.textContent || e.name || "").trim().slice(0, 40) };
})();

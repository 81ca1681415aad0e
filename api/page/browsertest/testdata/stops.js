// Lists what the keyboard has to reach, in the order of the page, and marks each so that it is known again. Of the buttons of one
// choice and the parts of one field there is one stop.
(() => {
  const stops = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, [tabindex='0']")]
    .filter((e) => !e.disabled && e.tabIndex >= 0 && e.checkVisibility({ visibilityProperty: true }));
  stops.forEach((e, i) => { e.dataset.stop = String(i); });
  return stops.length;
})();

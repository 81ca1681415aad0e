// Keeps a page that is as of now up to date: when a change is told, the page is read again and its parts are put in
// place. Without this script the page has a link for that.
(() => {
  "use strict";
  const parts = document.querySelectorAll('[data-live="true"]');
  const state = document.getElementById("live-state");
  if (parts.length === 0 || !state || !window.EventSource) return;

  // The link beside the words stays: it may have the focus.
  const words = document.createTextNode("");
  state.prepend(words);
  const say = (text) => { words.data = text + " "; };
  const clock = () => new Date().toISOString().slice(11, 16) + " UTC";

  // What has the focus is found again by its address: the parts are replaced as a whole.
  const focused = () => {
    const on = document.activeElement;
    return on && on.closest('[data-live="true"]') ? on.getAttribute("href") : null;
  };
  const focus = (href) => {
    for (const part of document.querySelectorAll('[data-live="true"]')) {
      for (const a of part.querySelectorAll("a")) if (a.getAttribute("href") === href) return a.focus({ preventScroll: true });
    }
  };

  const readAnew = async () => {
    try {
      const answer = await fetch(location.href, { credentials: "same-origin", redirect: "manual" });
      if (!answer.ok) return say("Not up to date since " + clock() + ".");
      const anew = new DOMParser().parseFromString(await answer.text(), "text/html");
      const href = focused();
      for (const part of document.querySelectorAll('[data-live="true"]')) {
        const other = anew.getElementById(part.id);
        if (other) part.replaceWith(document.adoptNode(other));
      }
      if (href) focus(href);
      say("Brought up to date " + clock() + ".");
    } catch {
      say("Not up to date since " + clock() + ".");
    }
  };

  let waiting = 0;
  const source = new EventSource("/board/events");
  source.onopen = () => say("Changes appear by themselves.");
  source.onmessage = () => {
    clearTimeout(waiting);
    waiting = setTimeout(readAnew, 300); // of many changes at once the last
  };
  source.addEventListener("resync", source.onmessage);
  source.onerror = () => {
    if (source.readyState === EventSource.CLOSED) say("Changes do not appear by themselves.");
  };
})();

// A yes ends on screen when its time is over, and never survives Back, a lost connection, a sleeping phone, a wrong
// clock or an error. Its age is counted from the moment the page was asked for, by the page's own steady timer
// (performance.now); the phone's clock can only make it older, never younger.
//
// Any element with data-answer="yes" and data-good-seconds is such a yes. When it ends it is taken out of the page
// and the element named by its data-stale (else #stale) is shown instead. While the page is looked at, the book is
// asked each minute whether it still says the same (header Farm-Answer, the mark in this script's data-mark). The
// script can only take a yes away; a keep-out never becomes a yes on a page that is open.
(function () {
  "use strict";
  var tag = document.currentScript, mark = tag.dataset.mark || "";
  var ASK_EVERY = 60000, PATIENCE = 8000;
  var open = Array.prototype.slice.call(document.querySelectorAll('[data-answer="yes"][data-good-seconds]'));
  var asked = Date.now() - performance.now(), asking = null, veiled = false;

  function byId(name) { return document.getElementById(name); }
  function show(name, on) { if (byId(name)) { byId(name).hidden = !on; } }

  function end(box) {
    var instead = byId(box.dataset.stale || "stale"), note = byId("stale");
    box.remove();
    if (instead) { instead.hidden = false; }
    show("checking", false);
    if (!note || byId("answer")) { return; }
    note.hidden = false;
    document.title = note.dataset.title || "KEEP OUT / NO ENTRE";
    document.querySelectorAll("[data-when-stale]").forEach(function (said) {
      said.textContent = said.dataset.whenStale;
    });
  }

  function endAll() {
    open.forEach(end);
    open = [];
  }

  function look() {
    var steady = performance.now() / 1000;
    var wall = (Date.now() - asked) / 1000;
    // A steady timer may stop while the phone sleeps: the larger age counts. A clock that ran backwards
    // cannot be trusted at all.
    if (wall < steady - 5) { endAll(); return; }
    var age = Math.max(steady, wall);
    if (age > 90) { show("remaining", false); } // "3 h from now" was about then; the time itself stays
    open = open.filter(function (box) {
      if (age < Number(box.dataset.goodSeconds)) { return true; }
      end(box);
      return false;
    });
  }

  // While nobody looks, a yes is not on the screen; it comes back only after the book has said it again.
  function veil(on) {
    veiled = on;
    open.forEach(function (box) { box.hidden = on; });
    show("checking", on && open.length > 0);
  }

  // ---- asking again ----
  function heard(said) {
    var now = {};
    (said || "").split(" ").forEach(function (part) { now[part.split("=")[0]] = part.split("=")[1]; });
    if (!now.mark) { throw new Error("not the book's answer"); }
    show("last-known", false);
    if (now.mark === mark) { look(); veil(false); return; }
    var shown = {entry: tag.dataset.entry, harvest: tag.dataset.harvest};
    endAll();
    var opens = ["entry", "harvest"].some(function (what) { return now[what] === "yes" && shown[what] !== "yes"; });
    if (now.entry && !opens) { location.reload(); }
  }

  function failed() {
    endAll();
    show("last-known", Boolean(byId("answer")));
  }

  function ask() {
    if (asking || !mark) { return; }
    var stop = new AbortController(), timer = setTimeout(function () { stop.abort(); }, PATIENCE);
    asking = fetch(location.href, {
      method: "HEAD", cache: "no-store", credentials: "same-origin", redirect: "error", signal: stop.signal
    }).then(function (answer) {
      if (!answer.ok) { throw new Error("the book did not answer"); }
      heard(answer.headers.get("Farm-Answer"));
    }).catch(failed).then(function () { clearTimeout(timer); asking = null; });
  }

  document.addEventListener("visibilitychange", function () {
    if (document.hidden) { veil(true); return; }
    look();
    if (mark) { ask(); } else { endAll(); }
  });
  document.addEventListener("freeze", endAll);
  document.addEventListener("resume", endAll);
  window.addEventListener("pagehide", function () { veil(true); });
  window.addEventListener("pageshow", function (event) { if (event.persisted) { endAll(); ask(); } });
  window.addEventListener("offline", failed);
  window.setInterval(look, 1000);
  window.setInterval(function () { if (!document.hidden) { ask(); } }, ASK_EVERY);

  // What a keep-out said is kept for reading without reception, with when it was checked; a yes takes it away.
  function writeDown() {
    var box = byId("answer"), name = "last-known" + location.pathname, lines = [];
    if (!box || !byId("last-known")) { return; }
    try {
      if (box.dataset.answer === "yes") { localStorage.removeItem(name); return; }
      document.querySelectorAll("#answer h1 span, #answer .until span, #checked").forEach(function (part) {
        lines.push({lang: part.lang, text: part.textContent.trim()});
      });
      localStorage.setItem(name, JSON.stringify({lines: lines}));
    } catch (error) { /* no room on the phone */ }
  }
  // On a phone at the gate, which may be anybody's, nothing is written down.
  if (!document.body.classList.contains("gate")) { writeDown(); }
  look();
}());

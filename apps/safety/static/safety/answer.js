// A yes ends on screen when its time is over, and never survives Back, a lost connection, a sleeping phone or
// a wrong clock. Age is counted from the moment the page was asked for, by the page's own steady timer
// (performance.now); the phone's clock can only make it older, never younger.
//
// Any element with data-answer="yes" and data-good-seconds is such a yes. When it ends it is taken out of the
// page and the element named by its data-stale (else #stale) is shown instead.
(function () {
  "use strict";
  var open = Array.prototype.slice.call(document.querySelectorAll('[data-answer="yes"][data-good-seconds]'));
  var asked = Date.now() - performance.now();

  function end(box) {
    var instead = document.getElementById(box.dataset.stale || "stale");
    var note = document.getElementById("stale");
    box.remove();
    if (instead) { instead.hidden = false; }
    if (!note || document.getElementById("answer")) { return; }
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
    open = open.filter(function (box) {
      if (age < Number(box.dataset.goodSeconds)) { return true; }
      end(box);
      return false;
    });
  }

  // While nobody looks, a yes is not on the screen: it comes back only after it was found to be fresh.
  function veil(on) {
    open.forEach(function (box) { box.style.visibility = on ? "hidden" : ""; });
  }

  document.addEventListener("visibilitychange", function () {
    if (document.hidden) { veil(true); return; }
    look();
    veil(false);
  });
  document.addEventListener("freeze", endAll);
  document.addEventListener("resume", endAll);
  window.addEventListener("pageshow", function (event) { if (event.persisted) { endAll(); } });
  window.addEventListener("offline", endAll);
  window.setInterval(look, 1000);
  look();
}());

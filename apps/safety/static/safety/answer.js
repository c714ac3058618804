// An "Entry allowed" ends on screen when its time is over, and never survives Back, a frozen
// tab or a wrong clock: age is counted by the page's own steady timer, not by the phone's clock.
(function () {
  "use strict";
  var answer = document.getElementById("answer");
  var stale = document.getElementById("stale");
  if (!answer || !stale || answer.dataset.answer !== "yes") { return; }
  var allowed = Number(answer.dataset.goodSeconds);
  var shownAt = performance.now();
  var wallAt = Date.now();

  function close() {
    answer.remove();
    stale.hidden = false;
    document.title = "KEEP OUT / NO ENTRE";
  }

  function look() {
    var steady = (performance.now() - shownAt) / 1000;
    var wall = (Date.now() - wallAt) / 1000;
    // Some phones stop the steady timer while asleep: the larger of the two ages counts, and a
    // clock that ran backwards counts as too old.
    if (!(allowed > 0) || Math.max(steady, wall) >= allowed || wall < steady - 5) { close(); return false; }
    return true;
  }

  window.addEventListener("pageshow", function (event) { if (event.persisted) { close(); } });
  window.addEventListener("offline", close);
  document.addEventListener("visibilitychange", function () { if (!document.hidden) { look(); } });
  document.addEventListener("resume", look);
  var timer = setInterval(function () { if (!look()) { clearInterval(timer); } }, 1000);
  look();
}());

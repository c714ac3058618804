// One cup after another: of the boxes for cups only the one at hand is shown, with the average of what is typed so
// far and how far this cup is off it. It only helps while typing; the book judges every cup when it is worked out.
(function () {
  "use strict";
  var guide = document.getElementById("cup-guide"), form = guide && guide.closest("form");
  if (!form) { return; }
  var boxes = Array.prototype.slice.call(form.querySelectorAll('input[name^="cup_"]'));
  var words = guide.dataset, said = guide.querySelector("[data-said]"), count = guide.querySelector("[data-count]");
  var here = 0;
  if (boxes.length < 2 || form.querySelector(".field.wrong")) { return; }

  function amount(box) {
    var text = box.value.trim();
    return /^\d*\.?\d+$/.test(text) && Number(text) > 0 ? Number(text) : null;
  }

  function field(box) { return box.closest(".field"); }

  function tell() {
    var typed = boxes.map(amount).filter(function (one) { return one !== null; });
    count.textContent = words.count.replace("{n}", here + 1).replace("{all}", boxes.length);
    if (!typed.length) { said.textContent = ""; return; }
    var mean = typed.reduce(function (a, b) { return a + b; }, 0) / typed.length;
    var lines = [words.mean.replace("{mean}", mean.toFixed(2)).replace("{n}", typed.length)];
    if (typed.length > 2) {
      boxes.forEach(function (box, index) {
        var one = amount(box), off = one === null ? 0 : (one - mean) / mean * 100;
        if (Math.abs(off) > Number(words.check)) {
          lines.push((off < 0 ? words.low : words.high).replace("{n}", index + 1).replace("{off}", Math.abs(off).toFixed(1)));
        }
      });
    }
    said.textContent = lines.join(" ");
  }

  function show(index) {
    here = Math.max(0, Math.min(boxes.length - 1, index));
    boxes.forEach(function (box, place) { field(box).hidden = place !== here; });
    guide.querySelector("[data-back]").hidden = here === 0;
    guide.querySelector("[data-next]").hidden = here === boxes.length - 1;
    tell();
  }

  guide.querySelector("[data-back]").addEventListener("click", function () { show(here - 1); boxes[here].focus(); });
  guide.querySelector("[data-next]").addEventListener("click", function () { show(here + 1); boxes[here].focus(); });
  guide.querySelector("[data-all]").addEventListener("click", function () {
    boxes.forEach(function (box) { field(box).hidden = false; });
    guide.hidden = true;
  });
  boxes.forEach(function (box, index) {
    box.addEventListener("input", tell);
    box.addEventListener("keydown", function (event) {
      if (event.key !== "Enter") { return; }
      event.preventDefault();
      if (index < boxes.length - 1) { show(index + 1); boxes[here].focus(); }
    });
  });
  guide.hidden = false;
  var empty = boxes.findIndex(function (box) { return amount(box) === null; });
  if (empty === -1) { guide.hidden = true; return; }
  show(empty);
}());

// Without reception: what this phone last saw about the block whose page was asked for, if it was a keep-out.
// A yes is never written down (answer.js), so none can come back here.
(function () {
  "use strict";
  var place = document.getElementById("last-known-said"), said;
  try { said = JSON.parse(localStorage.getItem("last-known" + location.pathname)); } catch (error) { said = null; }
  if (!place || !said || !said.lines) { return; }
  said.lines.forEach(function (line) {
    var row = document.createElement("span");
    row.lang = line.lang;
    row.textContent = line.text + " ";
    place.append(row);
  });
  document.getElementById("last-known").hidden = false;
}());

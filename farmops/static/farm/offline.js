// Registers the service worker and names what this phone should keep for reading without reception:
// the addresses in data-keep of this script's own tag, every link marked data-keep-offline, and the page itself
// when its tag says data-keep-this. The worker asks the book for each, and the book decides what may be kept.
(function () {
  "use strict";
  var tag = document.currentScript;
  if (!("serviceWorker" in navigator)) { return; }
  var wanted = (tag.dataset.keep || "").split(" ").filter(Boolean);
  if (tag.hasAttribute("data-keep-this")) { wanted.push(location.pathname + location.search); }
  document.querySelectorAll("a[data-keep-offline]").forEach(function (link) { wanted.push(link.getAttribute("href")); });
  navigator.serviceWorker.register("/worker.js").then(function () {
    return navigator.serviceWorker.ready;
  }).then(function (registration) {
    registration.active.postMessage({keep: wanted});
  }).catch(function () { /* A phone that keeps nothing still has the pages. */ });
}());

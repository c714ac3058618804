// Ticks of a mix sheet. A press is kept on this phone first, then sent; it is called saved only when the book has
// answered. What waits is sent again when the page opens, when reception returns and now and then, each press with
// a key of its own, so that sending twice saves once. The order of presses is kept.
(function () {
  "use strict";
  var sheet = document.getElementById("mix"), state = document.getElementById("mix-state");
  if (!sheet) { return; }
  var prefix = "mix/" + sheet.dataset.place + "/", home = prefix + sheet.dataset.person;
  var kept = read(home), queue = kept.queue || [], known = kept.known || {}, busy = false, trouble = "";
  var words = sheet.dataset;

  function read(name) {
    try { return JSON.parse(localStorage.getItem(name) || "{}"); } catch (error) { return {}; }
  }

  function write() {
    try {
      localStorage.setItem(home, JSON.stringify({queue: queue, known: known}));
      return true;
    } catch (error) { trouble = words.full; return false; }
  }

  function nameOf(load, step) { return load + " " + step; }

  function row(load, step) {
    return sheet.querySelector('[data-load="' + load + '"][data-step="' + CSS.escape(step) + '"]');
  }

  function show(item, box) {
    var button = box.querySelector("button.tick"), said = box.querySelector(".said");
    box.classList.toggle("done", item.done);
    box.classList.toggle("waiting", Boolean(item.key));
    if (button) { button.setAttribute("aria-pressed", item.done ? "true" : "false"); }
    var text = item.said || "";
    if (item.why) { text = words.refused.replace("{why}", item.why); }
    else if (item.sending) { text = words.sending; }
    else if (item.key) { text = words.waiting; }
    if (said.textContent !== text) { said.textContent = text; }
  }

  // What the page came with, then what the book has answered since (a kept copy may be older), then what waits.
  function draw() {
    Object.keys(known).forEach(function (name) {
      var item = known[name], box = row(item.load, item.step);
      if (box && item.at >= (box.dataset.at || "")) { show(item, box); }
    });
    queue.forEach(function (item) {
      var box = row(item.load, item.step);
      if (box) { show(item, box); }
    });
    var others = false;
    try {
      for (var i = 0; i < localStorage.length; i += 1) {
        var name = localStorage.key(i);
        if (name.indexOf(prefix) === 0 && name !== home && (read(name).queue || []).length) { others = true; }
      }
    } catch (error) { trouble = words.full; }
    var said = [];
    if (queue.length) { said.push(words.count.replace("{n}", queue.length)); }
    if (trouble) { said.push(trouble); }
    if (others) { said.push(words.others); }
    state.hidden = !said.length;
    state.textContent = said.join(" ");
  }

  function newKey() {
    if (window.crypto && crypto.randomUUID) { return crypto.randomUUID(); }
    return Date.now().toString(36) + Math.random().toString(36).slice(2) + Math.random().toString(36).slice(2);
  }

  function press(event) {
    var box = event.target.closest(".step");
    if (!box) { return; }
    var button = box.querySelector("button.tick");
    queue.push({
      key: newKey(), load: Number(box.dataset.load), step: box.dataset.step,
      done: button.getAttribute("aria-pressed") !== "true", at: new Date().toISOString()
    });
    if (!write()) {
      // A phone that keeps nothing sends the form as a page without scripts would.
      queue.pop();
      draw();
      return;
    }
    event.preventDefault();
    draw();
    send();
  }

  function token() {
    var field = sheet.querySelector("input[name=csrfmiddlewaretoken]");
    return field ? field.value : "";
  }

  function settle(item, answer, body) {
    if (answer.ok) {
      queue.splice(queue.indexOf(item), 1);
      known[nameOf(item.load, item.step)] = {load: item.load, step: item.step, done: body.done, at: item.at, said: body.said};
      trouble = "";
      return true;
    }
    item.sending = false;
    if (answer.status === 401 || answer.status === 403) { trouble = words.login; return false; }
    if (answer.status >= 500 || answer.status === 429) { return false; }
    item.why = body.detail || (body.findings && body.findings[0] && body.findings[0].sentence) || String(answer.status);
    return true;
  }

  function send() {
    var item = queue.find(function (one) { return !one.why; });
    if (busy || !item) { draw(); return; }
    busy = true;
    item.sending = true;
    draw();
    var stop = new AbortController(), timer = setTimeout(function () { stop.abort(); }, 20000);
    fetch(words.api, {
      method: "POST", credentials: "same-origin", redirect: "error", signal: stop.signal,
      headers: {"Content-Type": "application/json", "X-CSRFToken": token(), "Idempotency-Key": item.key},
      body: JSON.stringify({
        load: item.load, step: item.step, done: item.done, happened_at: item.at, sheet: words.sheet,
        even: words.even === "true", person_id: Number(words.person)
      })
    }).then(function (answer) {
      return answer.json().catch(function () { return {}; }).then(function (body) { return settle(item, answer, body); });
    }).catch(function () {
      item.sending = false;
      return false;
    }).then(function (go_on) {
      clearTimeout(timer);
      busy = false;
      delete item.sending;
      write();
      draw();
      if (go_on) { send(); }
    });
  }

  queue.forEach(function (item) { delete item.sending; delete item.why; });
  sheet.addEventListener("submit", press);
  window.addEventListener("online", send);
  window.addEventListener("pageshow", send);
  document.addEventListener("visibilitychange", function () { if (!document.hidden) { send(); } });
  window.setInterval(function () { if (queue.length) { send(); } }, 15000);
  draw();
  send();
}());

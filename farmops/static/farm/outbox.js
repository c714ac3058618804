// Forms that wait on the phone until the book has answered, and drafts of long forms.
//
// <form data-outbox="Tank 1 mixed">       is kept on this phone first and then sent; without reception it waits
//   <input type="hidden" name="done_at" data-outbox-now>   gets the phone's time at the press (ISO, UTC)
//   <span data-outbox-said></span>        says where it is (made when absent)
// data-outbox-stay                        stay on the page after the book took it (else go where the book says)
// <form data-draft>                       what is typed is kept for a week and put back, never a password or a key
//
// Each press has its own key, so that sending twice acts once. Nothing is called sent before the book has said so.
// What waits belongs to the person who wrote it: the book refuses it from anybody else. Words come from the data
// attributes of this script's tag.
(function () {
  "use strict";
  var tag = document.currentScript, reader = tag.dataset.reader, words = tag.dataset;
  var BOX = "outbox/" + reader + "/", DRAFT = "draft/" + reader + "/", WEEK = 7 * 24 * 3600 * 1000, LIMIT = 20000;
  var SECRET = ["csrfmiddlewaretoken", "once_key", "back"];

  function stored(prefix) {
    var names = [];
    for (var i = 0; i < localStorage.length; i += 1) {
      if (localStorage.key(i).indexOf(prefix) === 0) { names.push(localStorage.key(i)); }
    }
    return names;
  }
  function read(name) { try { return JSON.parse(localStorage.getItem(name)); } catch (error) { return null; } }
  function items() {
    return stored(BOX).map(read).filter(Boolean).sort(function (a, b) { return a.at - b.at; });
  }
  function put(item) { localStorage.setItem(BOX + item.id, JSON.stringify(item)); }
  function drop(item) { localStorage.removeItem(BOX + item.id); }
  function newKey() {
    return Array.prototype.map.call(crypto.getRandomValues(new Uint8Array(16)), function (b) {
      return ("0" + b.toString(16)).slice(-2);
    }).join("");
  }
  function cookie(name) {
    var found = document.cookie.split("; ").filter(function (c) { return c.indexOf(name + "=") === 0; })[0];
    return found ? decodeURIComponent(found.slice(name.length + 1)) : "";
  }

  // ---- putting in ----
  function wrapped(form, submitter) {
    var body = new URLSearchParams(), now = new Date();
    form.querySelectorAll("[data-outbox-now]").forEach(function (input) { input.value = now.toISOString(); });
    new FormData(form).forEach(function (value, name) {
      if (typeof value === "string" && name !== "csrfmiddlewaretoken" && name !== "once_key") { body.append(name, value); }
    });
    if (submitter && submitter.name) { body.append(submitter.name, submitter.value); }
    var id = newKey();
    body.append("once_key", id);
    return {
      id: id, at: now.getTime(), name: form.dataset.outbox, address: form.getAttribute("action") || location.pathname + location.search,
      body: body.toString(), page: location.pathname + location.search, state: "waiting"
    };
  }
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (event.defaultPrevented || !form.hasAttribute("data-outbox") || form.querySelector("[type=password], [type=file]")) { return; }
    if (form.dataset.outboxSending) { event.preventDefault(); return; }
    var item = wrapped(form, event.submitter);
    try { put(item); } catch (error) { return; } // no room on the phone: the form goes its ordinary way
    event.preventDefault();
    form.dataset.outboxSending = item.id;
    tell(form, words.waiting);
    show();
    send(item).then(function (result) {
      delete form.dataset.outboxSending;
      if (result.state === "sent") {
        forgetDraft(form);
        tell(form, words.sent);
        if (!form.hasAttribute("data-outbox-stay")) { location.assign(result.next); }
        form.dispatchEvent(new CustomEvent("outbox:sent", {bubbles: true}));
      } else if (result.state === "refused") {
        drop(item);
        form.submit(); // the book shows on its own page what is wrong; nothing was done yet
      } else {
        forgetDraft(form);
        tell(form, words.waiting);
      }
      show();
    });
  });
  function tell(form, said) {
    var place = form.querySelector("[data-outbox-said]");
    if (!place) {
      place = document.createElement("p");
      place.setAttribute("data-outbox-said", "");
      form.append(place);
    }
    place.setAttribute("role", "status");
    place.textContent = said;
  }

  // ---- sending: only the book's own word counts ----
  function send(item) {
    var stop = new AbortController(), timer = setTimeout(function () { stop.abort(); }, LIMIT);
    return fetch(item.address, {
      method: "POST", credentials: "same-origin", redirect: "error", cache: "no-store", signal: stop.signal,
      headers: {
        "Content-Type": "application/x-www-form-urlencoded", "Outbox": reader, "Idempotency-Key": item.id,
        "X-CSRFToken": cookie("csrftoken")
      },
      body: item.body
    }).then(function (answer) {
      clearTimeout(timer);
      if (answer.ok && answer.headers.get("Farm-Outbox") === "done") {
        return answer.json().then(function (said) { drop(item); return {state: "sent", next: said.next}; });
      }
      var ours = answer.headers.has("Farm-Reader");
      return {state: ours && answer.status >= 400 && answer.status < 500 ? "refused" : "waiting"};
    }).catch(function () { clearTimeout(timer); return {state: "waiting"}; });
  }
  var busy = false;
  function sendAll() {
    var waiting = items().filter(function (item) { return item.state === "waiting"; });
    if (busy || !waiting.length) { show(); return Promise.resolve(); }
    busy = true;
    return waiting.reduce(function (before, item) {
      return before.then(function (goes) {
        if (!goes) { return false; }
        return send(item).then(function (result) {
          if (result.state === "refused") { item.state = "needs you"; put(item); }
          return result.state !== "waiting"; // in order: the next only after this one was answered
        });
      });
    }, Promise.resolve(true)).then(function () { busy = false; show(); });
  }

  // ---- saying what waits: on every page, in the same place ----
  function show() {
    var box = document.getElementById("outbox"), list = items();
    if (!box) { return; }
    box.hidden = !list.length;
    var said = box.querySelector("[data-outbox-count]"), rows = box.querySelector("ul");
    said.textContent = words.count.replace("{n}", String(list.length));
    rows.replaceChildren.apply(rows, list.map(function (item) {
      var row = document.createElement("li"), link = document.createElement("a");
      link.href = item.page;
      link.textContent = item.name;
      row.append(link, ": " + (item.state === "waiting" ? words.waiting : words.needs) + " ");
      if (item.state !== "waiting") { row.append(button(words.again, function () { item.state = "waiting"; put(item); sendAll(); }),
        button(words.drop, function () { drop(item); show(); })); }
      return row;
    }));
    var now = box.querySelector("[data-outbox-now-button]");
    if (now && !now.dataset.ready) { now.dataset.ready = "yes"; now.addEventListener("click", sendAll); }
  }
  function button(text, act) {
    var made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.addEventListener("click", act);
    return made;
  }

  // ---- logging out with something unsent: once a warning, then as asked ----
  document.addEventListener("submit", function (event) {
    var form = event.target, list = items();
    if ((form.getAttribute("action") || "") !== "/log-out/" || !list.length || form.dataset.warned) { return; }
    event.preventDefault();
    form.dataset.warned = "yes";
    tell(form, words.leaving.replace("{names}", list.map(function (item) { return item.name; }).join(", ")));
  });

  // ---- drafts ----
  function draftName(form) { return DRAFT + (form.dataset.draft || location.pathname); }
  function forgetDraft(form) { if (form.hasAttribute("data-draft")) { localStorage.removeItem(draftName(form)); } }
  function kept(control) {
    return control.name && SECRET.indexOf(control.name) < 0 && ["hidden", "password", "file", "submit", "button"].indexOf(control.type) < 0;
  }
  function saveDraft(form) {
    var values = [];
    Array.prototype.forEach.call(form.elements, function (control) {
      if (!kept(control)) { return; }
      if (control.type === "checkbox" || control.type === "radio") {
        values.push([control.name, control.value, control.checked]);
      } else { values.push([control.name, control.value]); }
    });
    setDraft(draftName(form), {at: Date.now(), values: values});
  }
  function setDraft(name, draft) {
    try { localStorage.setItem(name, JSON.stringify(draft)); } catch (error) { /* no room */ }
  }
  // A draft goes when the page that follows its form has come from the book; a form shown again was not taken.
  function leaves(form, from) {
    var draft = read(draftName(form));
    if (draft) { draft.from = from; setDraft(draftName(form), draft); }
  }
  function dropTaken() {
    var copy = document.getElementById("kept");
    if ((copy && !copy.hidden) || document.querySelector(".wrong, .trouble")) { return; }
    var here = Array.prototype.map.call(document.querySelectorAll("form[data-draft]"), draftName);
    stored(DRAFT).forEach(function (name) {
      var draft = read(name);
      if (draft && here.indexOf(name) < 0 && draft.from && draft.from === document.referrer) { localStorage.removeItem(name); }
    });
  }
  function putBack(form) {
    var draft = read(draftName(form));
    leaves(form, "");
    if (!draft || form.querySelector(".wrong") || Date.now() - draft.at > WEEK) { return; }
    draft.values.forEach(function (line) {
      Array.prototype.forEach.call(form.elements, function (control) {
        if (!kept(control) || control.name !== line[0]) { return; }
        if (line.length === 3) { if (control.value === line[1]) { control.checked = line[2]; } } else { control.value = line[1]; }
      });
    });
    var note = document.createElement("p");
    note.className = "note";
    note.setAttribute("role", "status");
    note.append(words.draft + " ", button(words.drop, function () { forgetDraft(form); location.reload(); }));
    form.prepend(note);
  }
  document.querySelectorAll("form[data-draft]").forEach(function (form) {
    putBack(form);
    form.addEventListener("input", function () { saveDraft(form); });
    form.addEventListener("submit", function (event) { if (!event.defaultPrevented) { leaves(form, location.href); } });
    window.addEventListener("pageshow", function (event) { if (event.persisted) { leaves(form, ""); } });
  });
  dropTaken();
  stored(DRAFT).forEach(function (name) { var d = read(name); if (!d || Date.now() - d.at > WEEK) { localStorage.removeItem(name); } });
  window.addEventListener("online", sendAll);
  document.addEventListener("visibilitychange", function () { if (!document.hidden) { sendAll(); } });
  window.setInterval(sendAll, 60000);
  show();
  sendAll();
}());

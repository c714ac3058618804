/* Draws each figure that the interface serves into its box. Times arrive as farm-local text and
   are handed on as text: a Date object would move them to the zone of this device.
   Nothing in a box can be focused: the mode bar is off, because a picture may hold no controls. */
(function () {
  "use strict";

  /* On a phone: no words beside bars (the table has them), and at most three days on the axis. */
  function tighten(layout) {
    const ranges = (layout.meta || {}).without_asides || {};
    layout.annotations = (layout.annotations || []).filter(function (a) { return a.name !== "aside"; });
    Object.keys(ranges).forEach(function (axis) { layout[axis].range = ranges[axis]; });
    const days = layout.xaxis;
    if (days.type === "date") {
      const step = Math.ceil(days.tickvals.length / 3);
      const kept = function (_, place) { return place % step === 0; };
      days.ticktext = days.ticktext.filter(kept);
      days.tickvals = days.tickvals.filter(kept);
      days.title.text = days.title.text.replace(" (", "<br>(");
    }
  }

  function draw(box, answer) {
    const narrow = window.matchMedia("(max-width: 599px)").matches;
    const config = { responsive: true, displayModeBar: false, scrollZoom: false, staticPlot: narrow, doubleClick: false };
    if (narrow) tighten(answer.figure.layout);
    return window.Plotly.newPlot(box, answer.figure.data, answer.figure.layout, config);
  }

  async function load(box) {
    const words = document.getElementById(box.dataset.status);
    try {
      const reply = await fetch(box.dataset.url, { headers: { Accept: "application/json" }, credentials: "same-origin" });
      if (!reply.ok) throw new Error("answer " + reply.status);
      await draw(box, await reply.json());
      words.textContent = "";
      box.dataset.drawn = "yes";
    } catch (trouble) {
      words.textContent = box.dataset.trouble;
      box.hidden = true;
      box.dataset.drawn = "no";
    }
  }

  document.querySelectorAll("[data-chart]").forEach(function (box) {
    document.getElementById(box.dataset.status).textContent = box.dataset.wait;
    box.hidden = false;
    load(box);
  });
})();

"use strict";
(() => {
  const plan = JSON.parse(document.getElementById("plan").textContent);
  const key = "windtoll-call-sheet-" + plan.id;
  const at = (name) => document.getElementById(name);
  let rows = [], kept = true, typed = "", field = 0, reading = null;

  function readKept() {
    try {
      const found = JSON.parse(window.localStorage.getItem(key) || "[]");
      rows = Array.isArray(found) ? found : [];
      window.localStorage.setItem(key, JSON.stringify(rows));
    } catch (error) {
      kept = false;
    }
    return kept;
  }

  function keep() {
    try {
      window.localStorage.setItem(key, JSON.stringify(rows));
      kept = true;
    } catch (error) {
      kept = false;
    }
    at("unkept").hidden = kept;
  }

  function stamp() {
    const last = rows.length ? rows[rows.length - 1].t : 0;
    return Math.max(Date.now(), last + 1);  // rows rise in time even if the phone's clock is set back
  }

  const isRoadTest = plan.kind === "road_test";

  function place() {  // the last step that has begun and counts
    let last = -1;
    for (const row of rows) {
      if (row.kind === "setting") last = row.step;
      if (row.kind === "void") last = row.step - 1;
    }
    return last;
  }

  function running() {  // whether a step is under way: a setting until the next, a run until its end
    let on = false;
    for (const row of rows) {
      if (row.kind === "setting") on = true;
      if (row.kind === "end" || row.kind === "void") on = false;
    }
    return on;
  }

  function setting() {
    const step = place();
    return step < 0 || !running() ? null : plan.settings[step];
  }

  function add(row) {
    const step = running() ? place() : -1;
    rows.push({ step: step, ...row, t: Math.max(row.t || 0, stamp()) });
    keep();
    if (navigator.vibrate) navigator.vibrate(15);
    draw();
  }

  function number(text) {
    const value = Number(text);
    return text !== "" && Number.isFinite(value) ? value : null;
  }

  function press(digit) {
    if (reading === null) reading = { t: stamp(), values: {} };
    if (digit === "back") typed = typed.slice(0, -1);
    else if (digit === "." && typed.includes(".")) return;
    else if (typed.length < 7) typed += digit;
    drawTyped();
  }

  function enter(peak) {
    const value = number(typed);
    if (!running()) return say("First tap the key on which a " + plan.noun.toLowerCase() + " begins.");
    if (peak) {
      if (value === null) return say("Type the peak first, then tap Peak.");
      typed = "";
      add({ kind: "peak", t: stamp(), values: { [plan.fields[0].name]: value } });
      reading = null;
      field = 0;
      return draw();
    }
    if (reading === null) reading = { t: stamp(), values: {} };
    if (value === null && field === 0 && !isRoadTest) return say("Type " + plan.fields[0].label + " first.");
    if (value !== null) reading.values[plan.fields[field].name] = value;
    typed = "";
    field += 1;
    if (field < plan.fields.length) return drawTyped();
    const done = reading;
    reading = null;
    field = 0;
    if (Object.keys(done.values).length === 0) return drawTyped();
    add({ kind: "reading", t: done.t, values: done.values });
  }

  function finishTyped() {  // typed, but not yet entered: kept, not lost
    const value = number(typed), open = reading;
    if (open !== null && running()) {
      if (value !== null) open.values[plan.fields[field].name] = value;
      const enough = isRoadTest ? Object.keys(open.values).length > 0 : plan.fields[0].name in open.values;
      if (enough) rows.push({ kind: "reading", step: place(), t: Math.max(open.t, stamp()), values: open.values });
    }
    typed = "";
    reading = null;
    field = 0;
  }

  function mark(kind, step) {
    finishTyped();
    rows.push({ kind: kind, step: step, t: stamp(), values: {} });
    keep();
    if (navigator.vibrate) navigator.vibrate(40);
    draw();
  }

  function begin() {
    if (isRoadTest && running()) return mark("end", place());
    const next = place() + 1;
    if (next < plan.settings.length) mark("setting", next);
  }

  function spoilt() {  // the run does not count: the same one comes again
    if (place() < 0) return say("No run has begun.");
    mark("void", place());
    say("Run " + (place() + 2) + " does not count: drive it again.");
  }

  function undo() {
    if (typed !== "" || reading !== null) {
      typed = "";
      reading = null;
      field = 0;
      say("The number being typed is gone; nothing else.");
      return drawTyped();
    }
    const gone = rows.pop();
    keep();
    draw();
    say(gone ? "Undone: " + inWords(gone) : "Nothing to undo.");
  }

  function inWords(row) {
    if (row.kind in marks) return event(row);
    if (row.kind === "note") return "note: " + row.note;
    const one = plan.fields.find((each) => each.name in row.values) || plan.fields[0];
    return (row.kind === "peak" ? "peak " : "") + row.values[one.name] + " " + one.unit;
  }

  const marks = { setting: "begins", end: "ends", void: "void" };

  function event(row) {
    return row.kind in marks ? plan.noun.toLowerCase() + " " + (row.step + 1) + " " + marks[row.kind] : row.kind;
  }

  function oneLine(text) {
    return String(text).replace(/[\p{Cc}\p{Zl}\p{Zp}]+/gu, " ");
  }

  function cell(text) {
    let plain = oneLine(text);
    if (/^[=+\-@]/.test(plain)) plain = "'" + plain;  // a spreadsheet must not take a note for a formula
    return /[",]/.test(plain) ? '"' + plain.replace(/"/g, '""') + '"' : plain;
  }

  function asCsv() {
    const first = rows.length ? rows[0].t : 0;
    const heat = !isRoadTest;  // the wattmeter's column, as heat reads it
    const head = ["time_s", "time_utc", ...plan.columns, ...plan.fields.map((one) => one.column)];
    if (heat) head.push("power_w");
    head.push("peak_power_w", "note", "event");  // the last column is never empty
    const lines = ["# Call sheet of a passenger: " + oneLine(plan.title), head.join(",")];
    for (const row of rows) {
      const own = row.step < 0 ? plan.columns.map(() => "") : plan.settings[row.step].cells;
      const shown = (name) => (row.kind === "reading" && name in row.values ? row.values[name] : "");
      const cells = [((row.t - first) / 1000).toFixed(3), new Date(row.t).toISOString()];
      cells.push(...own, ...plan.fields.map((one) => shown(one.name)));
      if (heat) cells.push(shown("watts"));
      cells.push(row.kind === "peak" ? row.values[plan.fields[0].name] : "");
      lines.push([...cells, cell(row.note || ""), event(row)].join(","));
    }
    return lines.join("\n") + "\n";
  }

  async function share() {
    const text = asCsv(), name = "call_sheet.csv";
    const file = new File([text], name, { type: "text/csv" });
    if (navigator.canShare && navigator.canShare({ files: [file] })) {
      try {
        await navigator.share({ files: [file] });
        return;
      } catch (error) {
        if (error.name === "AbortError") return;  // the passenger closed the dialogue
      }
    }
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = name;
    document.body.append(link);
    link.click();
    link.remove();
    at("text").value = text;
    at("astext").hidden = false;
    say("Saved as " + name + ". If no file came: copy the text below.");
  }

  function say(words) {
    at("said").textContent = words;
  }

  function visit() {
    let start = null, values = [];
    for (const row of rows) {
      if (row.kind === "setting") { start = row.t; values = []; }
      const first = row.kind === "reading" ? row.values[plan.fields[0].name] : undefined;
      if (first !== undefined) values.push(first);
    }
    return { start: start, values: values };
  }

  function drawTyped() {
    const one = plan.fields[field];
    at("field").textContent = one.label + " (" + one.unit + ")" + (field ? ", or Enter to skip" : "");
    at("typed").textContent = typed || "–";
  }

  function drawClock() {
    const now = setting(), seen = visit();
    if (!now) {
      at("hold").textContent = place() < 0 ? "Nothing has begun." : "Between two runs.";
      at("hold").dataset.enough = "no";
      return;
    }
    const held = Math.floor((Date.now() - seen.start) / 1000), left = plan.hold_s - held;
    if (isRoadTest) {
      at("hold").textContent = "Since " + Math.floor(held / 60) + " min " + (held % 60) + " s"
        + (plan.hold_s ? ", of about " + Math.round(plan.hold_s / 60) + " min" : "");
      return;
    }
    at("hold").textContent = left > 0 ? "Hold " + left + " s more" : "Held " + held + " s: long enough";
    at("hold").dataset.enough = left > 0 ? "no" : "yes";
  }

  function draw() {
    const now = setting(), next = place() + 1, seen = visit();
    at("now").textContent = now ? plan.noun + " " + next + " of " + plan.settings.length + ": " + now.text
      : place() < 0 ? "Not begun" : "Run " + next + " has ended";
    const count = seen.values.length;
    const mean = count ? seen.values.reduce((a, b) => a + b, 0) / count : 0;
    at("mean").textContent = count
      ? "Mean " + mean.toFixed(0) + " " + plan.fields[0].unit + " of " + count + (count < 3 && !isRoadTest ? " (three or more, please)" : "")
      : "No reading yet";
    const ends = isRoadTest && running();
    at("begin").textContent = ends ? "Run " + next + " ends"
      : next < plan.settings.length ? plan.noun + " " + (next + 1) + " begins: " + plan.settings[next].text
      : "All " + plan.noun.toLowerCase() + "s done: share the file";
    at("begin").disabled = !ends && next >= plan.settings.length;
    at("count").textContent = rows.length + " entries";
    at("last").textContent = rows.length ? "Last: " + inWords(rows[rows.length - 1]) : "";
    at("unkept").hidden = kept;
    drawTyped();
    drawClock();
  }

  function note() {
    const words = at("words").value.trim();
    at("noting").hidden = true;
    at("words").value = "";
    if (words) add({ kind: "note", t: stamp(), values: {}, note: words.slice(0, 300) });
  }

  function start() {
    at("first").hidden = true;
    at("main").hidden = false;
    draw();
  }

  for (const one of document.querySelectorAll("[data-key]")) {
    one.addEventListener("click", () => press(one.dataset.key));
  }
  at("enter").addEventListener("click", () => enter(false));
  at("peak").addEventListener("click", () => enter(true));
  at("begin").addEventListener("click", begin);
  if (isRoadTest) at("void").addEventListener("click", spoilt);
  at("undo").addEventListener("click", undo);
  at("share").addEventListener("click", share);
  at("early").addEventListener("click", share);
  at("note").addEventListener("click", () => { at("noting").hidden = false; at("words").focus(); });
  at("keepnote").addEventListener("click", note);
  at("light").addEventListener("click", () => {
    const root = document.documentElement;
    root.dataset.light = root.dataset.light === "dark" ? "bright" : "dark";
  });
  at("start").addEventListener("click", start);
  at("again").addEventListener("click", () => {
    if (!window.confirm("Remove all " + rows.length + " entries from this phone? Share them first.")) return;
    rows = [];
    keep();
    at("again").hidden = true;
    at("start").textContent = "I am the passenger: start";
    at("found").textContent = "";
  });

  readKept();
  at("unkeptfirst").hidden = kept;
  if (rows.length) {
    at("found").textContent = rows.length + " entries are kept on this phone from " + new Date(rows[0].t).toLocaleString() + ".";
    at("start").textContent = "I am the passenger: go on";
    at("again").hidden = false;
  }
  draw();
  window.setInterval(drawClock, 500);
})();

"use strict";
const told = {{ values|tojson }};
const at = (id) => document.getElementById(id);
const APART_MS = 100; // no finger presses one key twice as fast: a faulty key does

// ---------------------------------------------------------------- tones
const AudioKind = window.AudioContext || window.webkitAudioContext;
let audio = null;
let sounding = null;
let asked = 0;

function hush() {
  if (sounding === null) return;
  const { source, gain } = sounding;
  sounding = null;
  source.onended = null;
  gain.gain.cancelScheduledValues(audio.currentTime);
  gain.gain.setTargetAtTime(0, audio.currentTime, 0.01);
  source.stop(audio.currentTime + 0.1);
  mark(null);
}

function mark(which) {
  for (const button of document.querySelectorAll("[data-tone]")) {
    button.setAttribute("aria-pressed", String(button.dataset.tone === which));
  }
}

async function play(which) {
  if (!AudioKind) {
    at("heard").textContent = "This browser plays no tones. Play any recording that has a left and a right side.";
    return;
  }
  hush();
  const turn = ++asked;
  try {
    audio = audio || new AudioKind();
    await audio.resume();
  } catch {
    at("heard").textContent = "This computer gives the browser no sound device.";
    return;
  }
  if (turn !== asked) return; // another was asked for meanwhile
  const long = which === "rising" ? told.riseS : told.steadyS;
  const start = audio.currentTime + 0.05;
  const source = audio.createOscillator();
  const gain = audio.createGain();
  const sides = audio.createChannelMerger(2);
  source.frequency.setValueAtTime(which === "rising" ? told.fromHz : told.steadyHz, start);
  if (which === "rising") source.frequency.exponentialRampToValueAtTime(told.toHz, start + long);
  gain.gain.setValueAtTime(0, start);
  gain.gain.linearRampToValueAtTime(told.level, start + 0.03);
  gain.gain.setValueAtTime(told.level, start + long - 0.03);
  gain.gain.linearRampToValueAtTime(0, start + long);
  source.connect(gain);
  if (which !== "right") gain.connect(sides, 0, 0);
  if (which !== "left") gain.connect(sides, 0, 1);
  sides.connect(audio.destination);
  source.start(start);
  source.stop(start + long);
  const mine = { source, gain };
  sounding = mine;
  source.onended = () => {
    if (sounding !== mine) return;
    sounding = null;
    mark(null);
    at("heard").textContent = "Played.";
  };
  mark(which);
  const one = audio.destination.maxChannelCount < 2 ? " One channel only: left and right cannot be told apart." : "";
  const names = { left: "Left tone now.", right: "Right tone now.", rising: "Rising tone now, both sides." };
  at("heard").textContent = names[which] + one;
}

for (const button of document.querySelectorAll("[data-tone]")) {
  button.addEventListener("click", () => play(button.dataset.tone));
}
at("hush").addEventListener("click", () => { asked += 1; hush(); at("heard").textContent = "Stopped."; });

// ---------------------------------------------------------------- colours
const field = at("field");
let shown = -1;
let filled = false;

function paint(index) {
  if (index >= told.colours.length) { leave(); return; }
  shown = Math.max(0, index);
  const [name, colour] = told.colours[shown];
  field.style.backgroundColor = colour;
  field.dataset.colour = name;
  field.setAttribute("aria-label", name + ". Press for the next one.");
}

function leave() {
  shown = -1;
  field.hidden = true;
  if (document.fullscreenElement) document.exitFullscreen();
  at("colours").focus();
}

at("colours").addEventListener("click", async () => {
  filled = false;
  field.hidden = false;
  paint(0);
  field.focus();
  at("seen").textContent = "";
  try {
    await field.requestFullscreen();
    filled = true;
  } catch {
    at("seen").textContent = "The browser did not fill the screen. Press F11 first, then begin again.";
  }
});
document.addEventListener("fullscreenchange", () => {
  if (document.fullscreenElement) return;
  if (filled && shown >= 0) leave();
  at("colours").focus(); // leaving the full screen takes the focus away
});
field.addEventListener("click", () => paint(shown + 1));

function step(event) {
  if (["Shift", "Control", "Alt", "AltGraph", "Meta", "F11"].includes(event.key)) return;
  event.preventDefault();
  if (event.repeat) return;
  if (event.key === "Escape") leave();
  else if (["Backspace", "ArrowLeft", "ArrowUp", "PageUp"].includes(event.key)) paint(shown - 1);
  else paint(shown + 1);
}

// ---------------------------------------------------------------- keys
const came = new Map();
const cells = new Map();
let listening = false;
let escaped = null;

for (const cell of document.querySelectorAll("[data-code]")) cells.set(cell.dataset.code, cell);

function cellFor(code) {
  let cell = cells.get(code);
  if (cell === undefined) {
    cell = document.createElement("li");
    cell.className = "key";
    cell.dataset.code = code;
    const name = document.createElement("span");
    name.className = "name";
    name.textContent = code;
    const count = document.createElement("span");
    count.className = "count";
    cell.append(name, count);
    at("others").append(cell);
    at("others-row").hidden = false;
    cells.set(code, cell);
  }
  return cell;
}

function draw(code) {
  const { times, repeats, down, wrote } = came.get(code);
  const cell = cellFor(code);
  cell.classList.toggle("once", times === 1);
  cell.classList.toggle("more", times > 1);
  cell.classList.toggle("down", down);
  if (cell.dataset.name && wrote.trim().length === 1) cell.querySelector(".name").textContent = wrote;
  cell.querySelector(".count").textContent = times + (repeats > 0 ? "+" + repeats : "");
}

function tally() {
  const counts = [...came.values()];
  const twice = counts.filter((each) => each.times > 1).length;
  const repeated = counts.filter((each) => each.repeats > 0).length;
  const missing = [...cells.keys()].filter((code) => !came.has(code)).length;
  at("tally").textContent =
    counts.length + " keys came, " + twice + " of them more than once, " + repeated +
    " repeated while held. Not yet: " + missing + ".";
}

function listen(on) {
  listening = on;
  escaped = null;
  at("keys").textContent = on ? "Stop counting" : "Begin counting";
  at("keys").setAttribute("aria-pressed", String(on));
  at("map").classList.toggle("on", on);
  at("pressed").textContent = on ? "Counting. Press each key once. Esc twice, or the button, ends it." : "";
}

function codeOf(event) {
  return event.code && event.code !== "Unidentified" ? event.code : "unknown " + (event.key || "key");
}

function pressed(event) {
  event.preventDefault();
  event.stopPropagation();
  const code = codeOf(event);
  const key = came.get(code) || { times: 0, repeats: 0, down: false, wrote: "" };
  came.set(code, key);
  if (event.repeat) key.repeats += 1;
  else key.times += 1;
  key.down = true;
  key.wrote = event.key;
  draw(code);
  tally();
  const name = cellFor(code).querySelector(".name").textContent;
  at("pressed").textContent = name + ": came " + key.times + (key.times === 1 ? " time" : " times") +
    (key.repeats > 0 ? ", repeated " + key.repeats + " while held" : "");
  if (event.code !== "Escape") escaped = null;
  else if (!event.repeat) {
    if (escaped !== null && event.timeStamp - escaped >= APART_MS) { listen(false); at("keys").focus(); }
    else escaped = event.timeStamp;
  }
}

function released(event) {
  event.preventDefault();
  const key = came.get(codeOf(event));
  if (key !== undefined) { key.down = false; draw(codeOf(event)); }
}

at("keys").addEventListener("click", () => listen(!listening));
at("anew").addEventListener("click", () => {
  came.clear();
  for (const [code, cell] of [...cells]) {
    if (at("others").contains(cell)) { cells.delete(code); cell.remove(); continue; }
    cell.classList.remove("once", "more", "down");
    cell.querySelector(".name").textContent = cell.dataset.name;
    cell.querySelector(".count").textContent = "";
  }
  at("others-row").hidden = true;
  tally();
});
window.addEventListener("keydown", (event) => {
  if (shown >= 0) step(event);
  else if (listening) pressed(event);
}, true);
window.addEventListener("keyup", (event) => { if (listening) released(event); }, true);
window.addEventListener("blur", () => {
  for (const [code, key] of came) { if (key.down) { key.down = false; draw(code); } }
  if (listening) at("pressed").textContent = "The page lost the keyboard. Click it to go on.";
});
tally();

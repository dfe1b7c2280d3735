// The phone's side of a session: it sends what the microphone hears in numbered blocks of
// a tenth of a second, plays what waycall says, and shows how far the work is. It decides
// nothing: what is understood and stored is for waycall alone.
"use strict";

const $ = (id) => document.getElementById(id);
const page = Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");

const kept = 300; // blocks that can be asked for again: half a minute
const blocks = new Map(); // number -> {rate, after, pcm}
let number = 0; // of the next block
let unsent = []; // numbers, oldest first
let sending = false;
let playing = 0; // what is being said, 0 for nothing
let played = 0; // what was said to its end
let context, source, awake, events;
let working = false;

// text writes a text where it has changed, and hides what is empty.
function text(id, value) {
  const at = $(id);
  if (at.textContent !== value) at.textContent = value;
  at.hidden = value === "";
}

function trouble(what) { text("trouble", what); }

async function post(path, query, body) {
  const q = new URLSearchParams({page, ...query});
  const got = await fetch(`${path}?${q}`, {method: "POST", body, cache: "no-store"});
  if (got.status === 409) {
    stop("Another phone is at work on this session.");
    $("take").hidden = false;
  }
  return got;
}

// send sends the blocks in their order, one after another, each again until it arrived.
async function send() {
  if (sending) return;
  sending = true;
  while (working && unsent.length > 0) {
    const n = unsent[0];
    const b = blocks.get(n);
    if (!b) { // too old to be had
      unsent.shift();
      continue;
    }
    try {
      const got = await post("/sound", {n, rate: b.rate, after: b.after, quiet: b.quiet ?? 0}, b.pcm);
      if (got.status === 409) break;
      unsent.shift();
      if (got.ok) {
        const {missing = []} = await got.json();
        unsent = [...missing.filter((m) => blocks.has(m) && !unsent.includes(m)), ...unsent];
        trouble("");
      }
    } catch {
      trouble("No connection to the laptop. What you say is kept for half a minute.");
      await new Promise((done) => setTimeout(done, 500));
    }
  }
  sending = false;
}

// level is the loudness of a block, dBFS.
function level(samples) {
  let sum = 0;
  for (const x of samples) sum += x * x;
  return 10 * Math.log10(sum / samples.length + 1e-9);
}

// put numbers a block and has it sent.
function put(b) {
  blocks.set(number, b);
  blocks.delete(number - kept);
  unsent.push(number++);
  send();
}

// passed says of the quiet that was not sent how long it was.
function passed() {
  if (skipped > 0) put({rate: context.sampleRate, after: played, quiet: skipped});
  skipped = 0;
}

// keep makes a block of samples and sends it, unless the phone speaks itself. While
// nobody speaks, nothing is sent but how long it is quiet, once a second: the second before
// a voice is kept, so that no word loses its start.
const before = 10; // blocks
const after = 15;
let quiet = 0; // blocks since a voice
let floor = -60; // dBFS, of the noise
let held = []; // blocks that may be a start
let skipped = 0; // blocks that were none
function keep(samples) {
  const loud = level(samples);
  $("level").value = Math.max(-60, loud);
  if (playing > 0) return;
  floor = loud < floor ? loud : Math.min(floor + 0.05, loud);
  quiet = loud > floor + 6 ? 0 : quiet + 1;
  const pcm = new Int16Array(samples.length);
  for (let i = 0; i < samples.length; i++) pcm[i] = Math.max(-32768, Math.min(32767, Math.round(samples[i] * 32768)));
  held.push({rate: context.sampleRate, after: played, pcm});
  if (quiet > after) {
    if (held.length > before) {
      held.shift();
      skipped++;
    }
    if (skipped >= 10) passed();
    return;
  }
  passed();
  held.forEach(put);
  held = [];
}

let gathered = [];
function caught(samples) {
  if (!working) return; // it was stopped with a few on their way
  gathered.push(...samples);
  const size = Math.round(context.sampleRate / 10);
  while (gathered.length >= size) keep(gathered.splice(0, size));
}

let speech;
function hush() {
  if (speech) {
    speech.onended = null;
    speech.stop();
    speech = undefined;
  }
  playing = 0;
}

// say plays what waycall says, and tells that it was heard.
async function say(n, wav) {
  if (n === playing || n <= played) return;
  hush();
  playing = n;
  held = [];
  skipped = 0;
  const bytes = Uint8Array.from(atob(wav), (c) => c.charCodeAt(0));
  const sound = await context.decodeAudioData(bytes.buffer);
  if (playing !== n) return;
  speech = context.createBufferSource();
  speech.buffer = sound;
  speech.connect(context.destination);
  speech.onended = async () => {
    speech = undefined;
    played = n;
    playing = 0;
    gathered = [];
    for (let tries = 0; working && tries < 20; tries++) {
      try {
        await post("/played", {n});
        return;
      } catch {
        await new Promise((done) => setTimeout(done, 300));
      }
    }
  };
  speech.start();
}

const turns = {speaking: "waycall speaks", listening: "Listening", paused: "Paused", finished: "Finished"};

function list(id, items) {
  $(id).replaceChildren(...items.map((item) => {
    const li = document.createElement("li");
    li.textContent = item;
    return li;
  }));
}

function draw(v) {
  if (v === null) return;
  text("turn", turns[v.turn] ?? "");
  document.body.dataset.turn = v.turn;
  for (const id of ["label", "place", "feeds", "with", "left", "heard", "said"]) text(id, v[id]);
  text("test", v.due);
  if (v.heard) text("heard", `Heard: ${v.heard}`);
  $("options").hidden = !v.options;
  list("choices", (v.options ?? []).map((o) => `${o.place}: ${o.text}`));
  $("due").hidden = Boolean(v.options);
  $("tally").hidden = !v.tally;
  list("counts", v.tally ?? []);
  const l = v.last;
  const waits = Boolean(l && l.waits);
  if (waits && $("last").dataset.waits !== "true" && navigator.vibrate) navigator.vibrate(60);
  $("last").hidden = !l;
  if (l) {
    $("last").className = l.class;
    $("last").dataset.waits = waits;
    text("whose", `${l.place}${waits ? ": read back, not stored yet" : l.gone ? `: ${l.gone}` : ": stored"}`);
    text("figure", l.figure);
    text("verdict", l.word);
    text("where", `${l.where}. ${l.because}`);
  }
}

function follow() {
  events?.close();
  events = new EventSource(`/events?page=${page}`);
  events.addEventListener("view", (e) => draw(JSON.parse(e.data)));
  events.addEventListener("say", (e) => {
    const {n, wav} = JSON.parse(e.data);
    say(n, wav);
  });
  events.addEventListener("hush", hush);
  events.addEventListener("taken", () => {
    stop("Another phone is at work on this session.");
    $("take").hidden = false;
  });
  events.addEventListener("ended", () => stop("The session has ended."));
  events.onopen = () => trouble("");
  events.onerror = () => trouble("No connection to the laptop. What is shown may be old.");
}

function stop(why) {
  working = false;
  hush();
  events?.close();
  source?.getTracks().forEach((t) => t.stop());
  context?.close();
  context = source = undefined;
  $("session").hidden = true;
  $("begin").hidden = false;
  $("go").hidden = false;
  text("why", why);
  text("turn", "Not begun");
}

async function stayAwake() {
  try {
    awake = await navigator.wakeLock?.request("screen");
  } catch { /* a phone that does not let it goes dark, and says so when it is back */ }
}

async function begin(take) {
  $("go").disabled = $("take").disabled = true;
  text("why", "");
  try {
    source = await navigator.mediaDevices.getUserMedia({audio: {channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false}});
    context = new AudioContext({latencyHint: "interactive"});
    await context.audioWorklet.addModule("/assets/catch.js");
    const got = await fetch(`/join?${new URLSearchParams({page, take: take ? 1 : 0})}`, {method: "POST"});
    const joined = await got.json();
    if (!got.ok) throw new Error(joined.error);
    played = joined.played;
    number = 0;
    unsent = [];
    blocks.clear();
    const node = new AudioWorkletNode(context, "catch", {numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit"});
    node.port.onmessage = (e) => caught(e.data);
    context.createMediaStreamSource(source).connect(node);
    await context.resume();
    working = true;
    $("begin").hidden = true;
    $("session").hidden = false;
    $("take").hidden = true;
    follow();
    stayAwake();
  } catch (err) {
    stop(err.name === "NotAllowedError" ? "The microphone is not allowed. Allow it for this page, then begin again." : `It cannot begin: ${err.message}`);
    $("take").hidden = !/another phone/.test(err.message);
  }
  $("go").disabled = $("take").disabled = false;
}

setInterval(() => {
  if (working && unsent.length === 0) post("/still", {}).catch(() => {});
}, 1000);
document.addEventListener("visibilitychange", () => {
  if (!working || document.visibilityState !== "visible") return;
  stayAwake();
  context.resume();
});
$("go").addEventListener("click", () => begin(false));
$("take").addEventListener("click", () => begin(true));

"use strict";
// What the pages cannot do without a script: the dwell timer, and a scanner's keys into its field.

const MS = 1000;

function beep(audio, at, seconds) {
  const tone = audio.createOscillator();
  const loudness = audio.createGain();
  tone.frequency.value = 880;
  loudness.gain.value = 0.4;
  tone.connect(loudness).connect(audio.destination);
  tone.start(audio.currentTime + at);
  tone.stop(audio.currentTime + at + seconds);
}

class DwellTimer {
  constructor(root) {
    this.root = root;
    this.dwellMs = Number(root.dataset.dwellS) * MS;
    this.face = root.querySelector("output");
    this.status = root.querySelector("[role=status]");
    this.start = root.querySelector("[data-start]");
    this.stop = root.querySelector("[data-stop]");
    this.start.addEventListener("click", () => this.run());
    this.stop.addEventListener("click", () => this.end("Stopped."));
    addEventListener("beforeunload", (event) => { if (this.ends) event.preventDefault(); });
    addEventListener("visibilitychange", () => { if (this.ends) this.keepAwake(); });
    this.show(this.dwellMs);
    root.hidden = false;
  }

  run() {
    this.end("");
    this.ends = performance.now() + this.dwellMs;
    this.ticking = setInterval(() => this.tick(), 100);
    this.start.textContent = "Start again";
    this.stop.hidden = false;
    this.say("The press is closed.");
    this.prepareSound();
    this.keepAwake();
    this.tick();
  }

  tick() {
    const left = this.ends - performance.now();
    this.show(Math.max(0, left));
    if (left <= 0) this.ring();
  }

  ring() {
    this.end("Time is up: open the press.");
    this.root.classList.add("over");
    if (this.audio) [0, 0.4, 0.8, 1.2].forEach((at) => beep(this.audio, at, 0.25));
  }

  end(words) {
    clearInterval(this.ticking);
    this.ends = null;
    this.root.classList.remove("over");
    this.stop.hidden = true;
    this.say(words);
    if (this.lock) this.lock.release().catch(() => {});
    this.lock = null;
  }

  show(ms) {
    const tenths = Math.ceil(ms / 100);
    const whole = Math.floor(tenths / 10);
    const minutes = Math.floor(whole / 60);
    const seconds = String(whole % 60).padStart(minutes ? 2 : 1, "0");
    this.face.textContent = `${minutes ? `${minutes}:` : ""}${seconds}.${tenths % 10}`;
  }

  say(words) { this.status.textContent = words; }

  prepareSound() {
    // Sound is allowed only after a person has touched something, which starting is.
    if (!this.audio && window.AudioContext) this.audio = new AudioContext();
    if (!this.audio) this.say("The press is closed. This browser makes no sound: watch the figures.");
    else this.audio.resume().catch(() => {});
  }

  async keepAwake() {
    if (this.lock && !this.lock.released) return;
    if (!navigator.wakeLock || document.visibilityState !== "visible") return;
    try {
      const lock = await navigator.wakeLock.request("screen");
      if (this.ends) this.lock = lock; else lock.release();
    } catch { /* refused, as on a low battery: the timer runs on all the same */ }
  }
}

function scanAnywhere(field) {
  // A wedge scanner types into whatever has the focus; where nothing has, into the scan field.
  document.addEventListener("keydown", (event) => {
    const idle = document.activeElement === document.body || !document.activeElement;
    if (!idle || event.ctrlKey || event.altKey || event.metaKey) return;
    if (/^[A-Za-z0-9]$/.test(event.key)) field.focus();
  });
}

function sendOnce(form) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "yes";
  });
}

addEventListener("pageshow", (event) => {
  if (event.persisted) document.querySelectorAll("form[data-sent]").forEach((form) => { delete form.dataset.sent; });
});
document.querySelectorAll("[data-dwell-s]").forEach((root) => new DwellTimer(root));
document.querySelectorAll("form[method=post]").forEach(sendOnce);
const scanField = document.querySelector("#scan");
if (scanField) scanAnywhere(scanField);

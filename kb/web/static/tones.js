"use strict";
// Test signals from the phone itself, so that they need no link. Numbers and filters come with the page.
(() => {
  const box = document.getElementById("tones");
  const Sound = window.AudioContext || window.webkitAudioContext;
  if (!box || !Sound) return;
  const facts = JSON.parse(box.dataset.facts);
  const buttons = [...document.querySelectorAll(".play")];
  const down = document.getElementById("down");
  const gainOf = (db) => 10 ** (db / 20);
  let context = null;
  let playing = null;

  // pink noise of ten seconds: white noise through the sections of the page, its r.m.s. brought to that of a sine less 6 dB
  function noise() {
    const count = 10 * facts.rate;
    const values = Float32Array.from({ length: count }, () => Math.random() - 0.5);
    for (const [b, a] of facts.sections) {
      const [b0, b1, b2 = 0] = b;
      const [, a1, a2 = 0] = a;
      let one = 0, two = 0;
      for (let at = 0; at < count; at++) {
        const value = values[at], result = b0 * value + one;
        one = b1 * value - a1 * result + two;
        two = b2 * value - a2 * result;
        values[at] = result;
      }
    }
    const rms = Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / count);
    const scale = gainOf(facts.noise_db) / Math.SQRT2 / rms;
    const most = 4 * scale * rms; // crest factor 4
    const buffer = context.createBuffer(1, count, facts.rate);
    buffer.copyToChannel(values.map((value) => Math.max(-most, Math.min(most, value * scale))), 0);
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.loop = true;
    return source;
  }

  function sine(hertz) {
    const source = context.createOscillator();
    source.frequency.value = hertz;
    return source;
  }

  // one beep left, two right, every three seconds
  function sides(source, out) {
    const merge = context.createChannelMerger(2);
    [1, 2].forEach((beeps, side) => {
      const gate = context.createGain();
      gate.gain.value = 0;
      for (let round = 0; round < 100; round++) {
        for (let beep = 0; beep < beeps; beep++) {
          const at = context.currentTime + facts.fade_s + 3 * round + 0.8 * beep;
          gate.gain.setValueAtTime(0, at);
          gate.gain.linearRampToValueAtTime(1, at + 0.005);
          gate.gain.setValueAtTime(1, at + 0.395);
          gate.gain.linearRampToValueAtTime(0, at + 0.4);
        }
      }
      source.connect(gate).connect(merge, 0, side);
    });
    merge.connect(out);
  }

  function stop() {
    if (!playing) return;
    const { source, out, button } = playing;
    playing = null;
    out.gain.cancelScheduledValues(context.currentTime);
    out.gain.setTargetAtTime(0, context.currentTime, 0.03);
    source.stop(context.currentTime + 0.2);
    button.textContent = text("web/tones/play", { signal: button.dataset.signal });
    button.setAttribute("aria-pressed", "false");
  }

  async function play(button) {
    const same = playing && playing.button === button;
    stop();
    if (same) return;
    context = context || new Sound({ sampleRate: facts.rate });
    await context.resume();
    const tone = button.dataset.tone;
    const source = tone === "pink" ? noise() : sine(tone === "sweep" ? facts.sweep_hz[0] : 1000);
    const out = context.createGain();
    const now = context.currentTime;
    out.gain.setValueAtTime(0, now);
    out.gain.linearRampToValueAtTime(gainOf(facts.level_db), now + facts.fade_s);
    if (tone === "sweep") {
      source.frequency.setValueAtTime(facts.sweep_hz[0], now + facts.fade_s);
      source.frequency.exponentialRampToValueAtTime(facts.sweep_hz[1], now + 20);
    }
    if (tone === "sides") sides(source, out); else source.connect(out);
    out.connect(context.destination);
    source.start();
    playing = { source, out, button };
    button.textContent = text("web/tones/stop", { signal: button.dataset.signal });
    button.setAttribute("aria-pressed", "true");
  }

  box.hidden = false;
  for (const button of buttons) {
    button.hidden = false;
    button.addEventListener("click", () => play(button));
  }
  const allow = () => {
    for (const button of buttons) button.disabled = !down.checked;
    if (!down.checked) stop();
  };
  down.addEventListener("change", allow);
  allow();
})();

"use strict";

// The sound card through the browser: opens an input without any processing, plays on the left channel, records both channels.
const audio = (() => {
  // The first moments of a capture are zeros and jumps of the counter.
  const DISCARD_S = 0.5;
  // Silence listened to before playing starts, so that the end can be told from it.
  const BEFORE_S = 0.4;
  // Fading out on Stop, s: a step would be a bang in the driver.
  const FADE_S = 0.08;
  // No block for so long means that the input has stopped, s.
  const DEAD_S = 3;

  let open = null;

  class Stopped extends Error {}

  function constraints(inputId) {
    return {
      audio: {
        ...(inputId ? { deviceId: { exact: inputId } } : {}),
        channelCount: { ideal: 2 },
        echoCancellation: false,
        noiseSuppression: false,
        autoGainControl: false,
        voiceIsolation: false,
        sampleRate: { ideal: 48000 },
      },
    };
  }

  // What the browser lacks, as codes; nothing can be recorded without these.
  function missing() {
    const lacks = [];
    if (!navigator.mediaDevices?.getUserMedia) lacks.push("input");
    if (typeof AudioContext === "undefined" || typeof AudioWorkletNode === "undefined") lacks.push("worklet");
    if (typeof DecompressionStream === "undefined") lacks.push("unpack");
    if (typeof WebAssembly === "undefined") lacks.push("wasm");
    return lacks;
  }

  // iOS processes what its browsers record; nothing in the page can switch that off. Safari mixes inputs.
  function unsuited() {
    const agent = navigator.userAgent;
    const isTouchMac = /Macintosh/.test(agent) && navigator.maxTouchPoints > 1;
    if (/iPhone|iPad|iPod/.test(agent) || isTouchMac) return "ios";
    if (/Safari\//.test(agent) && !/Chrom(e|ium)\//.test(agent)) return "safari";
    return null;
  }

  async function start({ inputId = null, outputId = null } = {}) {
    await close();
    const stream = await navigator.mediaDevices.getUserMedia(constraints(inputId));
    const track = stream.getAudioTracks()[0];
    const settings = track.getSettings();
    const context = new AudioContext({
      latencyHint: "playback",
      ...(settings.sampleRate ? { sampleRate: settings.sampleRate } : {}),
    });
    await recorder.load(context);
    if (outputId && context.setSinkId) await context.setSinkId(outputId);
    await context.resume();
    const source = context.createMediaStreamSource(stream);
    const tape = recorder.node(context);
    // Without a listener the first recording would begin with all that was heard since the input was opened.
    tape.port.onmessage = () => {};
    source.connect(tape);
    open = { stream, track, settings, context, source, tape, inputId, outputId };
    return facts();
  }

  function facts() {
    const { track, settings, context } = open;
    return {
      label: track.label,
      settings: { ...settings, deviceId: undefined, groupId: undefined },
      sample_rate_hz: context.sampleRate,
      agent: navigator.userAgent,
      latency_s: { base: context.baseLatency ?? null, output: context.outputLatency ?? null },
    };
  }

  async function close() {
    if (open === null) return;
    const { stream, context, source, tape } = open;
    open = null;
    source.disconnect();
    tape.port.onmessage = null;
    for (const track of stream.getTracks()) track.stop();
    await context.close();
  }

  const isOpen = () => open !== null && open.track.readyState === "live" && open.context.state !== "closed";

  async function devices() {
    const all = await navigator.mediaDevices.enumerateDevices();
    const of = (kind) => all.filter((device) => device.kind === kind && device.deviceId !== "").map(({ deviceId, label }) => ({ id: deviceId, label }));
    const canChoose = typeof AudioContext.prototype.setSinkId === "function";
    return { inputs: of("audioinput"), outputs: canChoose ? of("audiooutput") : [] };
  }

  const peakOf = (block) => {
    let peak = 0;
    for (const value of block) peak = Math.max(peak, Math.abs(value));
    return peak;
  };

  function joined(blocks, n) {
    const all = new Float32Array(n);
    let at = 0;
    for (const block of blocks) {
      all.set(block, at);
      at += block.length;
    }
    return all;
  }

  function player(context, samples, loop) {
    const buffer = context.createBuffer(2, samples.length, context.sampleRate);
    buffer.copyToChannel(samples, 0);
    const node = context.createBufferSource();
    node.buffer = buffer;
    node.loop = loop;
    const fader = context.createGain();
    node.connect(fader).connect(context.destination);
    return {
      start() {
        node.start(context.currentTime + 0.05);
      },
      stop() {
        const now = context.currentTime;
        fader.gain.setValueAtTime(fader.gain.value, now);
        fader.gain.linearRampToValueAtTime(0, now + FADE_S);
        node.stop(now + FADE_S + 0.02);
      },
      release() {
        node.disconnect();
        fader.disconnect();
      },
    };
  }

  // Plays samples (or nothing) on the left channel and records both. `length_s` ends a recording of its own accord: for silence, and for
  // what is looped. Resolves to both channels as recorded, and how often the frame counter jumped.
  async function record({ samples = null, loop = false, length_s = null, signal, onprogress = () => {} }) {
    if (!isOpen()) throw new Error(say("error.input_gone"));
    const { context, track, tape } = open;
    if (context.state !== "running") await context.resume();
    const rateHz = context.sampleRate;
    const sound = samples === null ? null : player(context, samples, loop);
    const watch = sound === null || loop ? null : endWatch.create(rateHz, samples.length);
    const total_s = length_s ?? samples.length / rateHz + endWatch.SILENCE_S;
    const kept = [[], []];
    let nSeen = 0;
    let nKept = 0;
    let nBefore = 0;
    let isPlaying = sound === null;
    let nextFrame = null;
    let jumps = 0;
    let lastBlockAt = performance.now();

    try {
      await new Promise((resolve, reject) => {
        const fail = (key) => () => reject(new Error(say(key)));
        const onState = () => {
          if (context.state !== "running") reject(new Error(say("error.interrupted")));
        };
        const timer = setInterval(() => {
          if (performance.now() - lastBlockAt > DEAD_S * 1000) reject(new Error(say("error.input_dead")));
        }, 500);
        const onStop = () => reject(new Stopped(say("take.stopped")));
        const muted = fail("error.muted");
        const ended = fail("error.unplugged");
        track.addEventListener("mute", muted);
        track.addEventListener("ended", ended);
        context.addEventListener("statechange", onState);
        signal?.addEventListener("abort", onStop);
        const leave = (settle) => (value) => {
          clearInterval(timer);
          track.removeEventListener("mute", muted);
          track.removeEventListener("ended", ended);
          context.removeEventListener("statechange", onState);
          signal?.removeEventListener("abort", onStop);
          tape.port.onmessage = null;
          settle(value);
        };
        const finish = leave(resolve);
        reject = leave(reject);
        if (signal?.aborted) return onStop();

        tape.port.onmessage = ({ data }) => {
          lastBlockAt = performance.now();
          const n = data.channels[0].length;
          nSeen += n;
          if (nSeen <= DISCARD_S * rateHz) {
            nextFrame = data.frame + n;
            return;
          }
          if (nextFrame !== null && data.frame !== nextFrame) jumps += 1;
          nextFrame = data.frame + n;
          data.channels.forEach((channel, i) => kept[i].push(channel));
          nKept += n;
          const peak = Math.max(peakOf(data.channels[0]), peakOf(data.channels[1]));
          if (!isPlaying) {
            watch?.before(peak);
            nBefore += n;
            if (nBefore >= BEFORE_S * rateHz) {
              isPlaying = true;
              sound.start();
            }
          } else {
            watch?.push(peak, n);
          }
          onprogress({ elapsed_s: (nKept - nBefore) / rateHz, total_s, peak, peaks: data.channels.map(peakOf) });
          if (watch ? watch.isOver() : nKept - nBefore >= length_s * rateHz) finish();
        };
        return undefined;
      });
    } finally {
      if (sound !== null) {
        if (isPlaying) sound.stop();
        setTimeout(() => sound.release(), 1000 * FADE_S + 100);
      }
    }
    return { channels: kept.map((blocks) => joined(blocks, nKept)), jumps, sample_rate_hz: rateHz };
  }

  return { missing, unsuited, start, close, isOpen, devices, record, facts, Stopped };
})();

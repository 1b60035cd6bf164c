// A jig inside Web Audio, for tests: what the page plays goes through a resistor into whatever lies in the driver's place, and comes back
// as the input. It is put into the page before the page's own script. What the helper's hands would do is set in `lab`.
(() => {
  const SENSE_OHM = 47;
  const DELAY_S = 0.25;
  const lab = {
    // driver, resistor, short, open, or same: both inputs on the source node.
    part: "driver",
    re_ohm: 5.6, res_ohm: 30, f0_hz: 96, qms: 4.2,
    resistor_ohm: 22,
    // The first input is on the driver's side.
    swapped: false,
    // Somebody taps on the cone.
    tapping: false,
    // With one input: where its clip is; source, air or driver. With two inputs: null.
    clip: null,
    noise: 2e-5,
    // The second input reads this much of the truth.
    gain: 0.985,
    // What the browser or its input does to the sound: null, mono, gain, silent, gaps, hum.
    fault: null,
    // What the browser reports about the input, put over what it is.
    reported: {},
    // The browser's own device is heard in place of the jig, and hears nothing of what is played.
    device: false,
    // When the page opened its input, by its own clock, ms.
    openedAt: null,
  };
  window.lab = lab;

  // Voltage at the driver's side over that at the source node, as an analogue filter (c2 s² + c1 s + c0 over the same) made digital.
  function divider(context) {
    if (lab.part === "driver") {
      const k = 2 * context.sampleRate;
      const w = k * Math.tan((2 * Math.PI * lab.f0_hz) / k);
      const digital = (c2, c1, c0) => [c2 * k * k + c1 * k + c0, 2 * c0 - 2 * c2 * k * k, c2 * k * k - c1 * k + c0];
      const re = lab.re_ohm;
      const all = re + SENSE_OHM;
      return context.createIIRFilter(digital(re, ((re + lab.res_ohm) * w) / lab.qms, re * w * w), digital(all, ((all + lab.res_ohm) * w) / lab.qms, all * w * w));
    }
    const ohm = { resistor: lab.resistor_ohm, short: 0.05, open: 10000 }[lab.part];
    return gain(context, lab.part === "same" ? 1 : ohm / (ohm + SENSE_OHM));
  }

  const gain = (context, value) => new GainNode(context, { gain: value });

  function noise(context, level) {
    const buffer = context.createBuffer(1, 3 * context.sampleRate, context.sampleRate);
    const samples = buffer.getChannelData(0);
    for (let i = 0; i < samples.length; i += 1) samples[i] = level * (Math.random() + Math.random() + Math.random() - 1.5);
    const node = new AudioBufferSourceNode(context, { buffer, loop: true });
    node.start();
    return node;
  }

  // One jig for each of the page's audio contexts: { input, output }.
  const jigs = new Map();
  function jigOf(context) {
    if (!jigs.has(context)) jigs.set(context, build(context));
    return jigs.get(context);
  }

  function build(context) {
    const input = new GainNode(context, { channelCount: 2, channelCountMode: "explicit" });
    const left = context.createChannelSplitter(2);
    connect.call(input, left);
    const sourceNode = new DelayNode(context, { maxDelayTime: 1, delayTime: DELAY_S });
    connect.call(left, sourceNode, 0);
    const driverSide = gain(context, lab.gain);
    const taps = gain(context, 0);
    connect.call(noise(context, 0.02), taps);
    connect.call(taps, driverSide);
    const output = context.createChannelMerger(2);
    // Into which input each of the two points goes, and how much of it.
    const wires = [0, 1].map((channel) => [sourceNode, driverSide].map((from) => {
      const wire = gain(context, 0);
      connect.call(from, wire);
      connect.call(wire, output, 0, channel);
      return wire;
    }));
    for (const channel of [0, 1]) connect.call(noise(context, lab.noise), output, 0, channel);

    let placed = null;
    let divided = null;
    function arrange() {
      if (context.state === "closed") return clearInterval(timer);
      const wanted = JSON.stringify([lab.part, lab.f0_hz, lab.qms, lab.resistor_ohm]);
      if (wanted !== placed) {
        placed = wanted;
        if (divided !== null) sourceNode.disconnect(divided);
        divided?.disconnect();
        divided = divider(context);
        connect.call(sourceNode, divided);
        connect.call(divided, driverSide);
      }
      const one = { source: [1, 0], air: [0, 0], driver: [0, 1] }[lab.clip];
      const shares = one ? [one, one] : lab.swapped ? [[0, 1], [1, 0]] : [[1, 0], [0, 1]];
      // One input is alike wherever its clip is.
      driverSide.gain.value = one ? 1 : lab.gain;
      shares.forEach((share, channel) => share.forEach((value, i) => { wires[channel][i].gain.value = value; }));
      taps.gain.value = lab.tapping && Math.floor(performance.now() / 150) % 4 === 0 ? 1 : 0;
      return undefined;
    }
    const timer = setInterval(arrange, 50);
    arrange();
    return { input, output };
  }

  // What both inputs hear of some samples, without noise and delay, for the file of the browser's own device. Both hear it through the
  // same coupling capacitor: no input hands over an exact copy of what was played.
  const COUPLING_HZ = 1;
  lab.through = async (samples, sampleRate) => {
    const context = new OfflineAudioContext(2, samples.length, sampleRate);
    const buffer = context.createBuffer(1, samples.length, sampleRate);
    buffer.copyToChannel(samples, 0);
    const played = new AudioBufferSourceNode(context, { buffer });
    const w = Math.tan((Math.PI * COUPLING_HZ) / sampleRate);
    const output = context.createChannelMerger(2);
    const sourceNode = played.connect(context.createIIRFilter([1, -1], [1 + w, w - 1]));
    sourceNode.connect(output, 0, 0);
    sourceNode.connect(divider(context)).connect(gain(context, lab.gain)).connect(output, 0, 1);
    output.connect(context.destination);
    played.start();
    const heard = await context.startRendering();
    return [0, 1].map((channel) => heard.getChannelData(channel));
  };

  const connect = AudioNode.prototype.connect;
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to === this.context.destination && this.context instanceof AudioContext) return connect.call(this, jigOf(this.context).input);
    return connect.call(this, to, ...rest);
  };

  // What a browser or an input does that is no good for measuring.
  const faults = {
    mono(context, output) {
      const split = context.createChannelSplitter(2);
      const merged = context.createChannelMerger(2);
      connect.call(output, split);
      for (const channel of [0, 1]) connect.call(split, merged, 0, channel);
      return merged;
    },
    gain(context, output) {
      const automatic = new DynamicsCompressorNode(context, { threshold: -60, ratio: 8, attack: 0.01 });
      connect.call(output, automatic);
      return automatic;
    },
    silent(context, output) {
      const muted = gain(context, 0);
      connect.call(output, muted);
      return muted;
    },
    // Eleven milliseconds of nothing, again and again.
    gaps(context, output) {
      const through = gain(context, 1);
      connect.call(output, through);
      const timer = setInterval(() => {
        if (context.state === "closed") clearInterval(timer);
        through.gain.setValueAtTime(0, context.currentTime + 0.1);
        through.gain.setValueAtTime(1, context.currentTime + 0.111);
      }, 700);
      return through;
    },
    hum(context, output) {
      const through = gain(context, 1);
      const tone = new OscillatorNode(context, { frequency: 100 });
      const quieter = gain(context, 0.3);
      tone.start();
      connect.call(output, through);
      connect.call(tone, quieter);
      connect.call(quieter, through);
      return through;
    },
  };
  const createMediaStreamSource = AudioContext.prototype.createMediaStreamSource;
  AudioContext.prototype.createMediaStreamSource = function (stream) {
    lab.openedAt = performance.now();
    if (lab.device) return createMediaStreamSource.call(this, stream);
    const { output } = jigOf(this);
    return lab.fault === null ? output : faults[lab.fault](this, output);
  };

  const getSettings = MediaStreamTrack.prototype.getSettings;
  MediaStreamTrack.prototype.getSettings = function () {
    return { ...getSettings.call(this), ...lab.reported };
  };
})();

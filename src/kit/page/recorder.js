"use strict";

// What runs on the browser's audio thread: it hands both channels over in blocks, each with the number of its first frame, so that a
// jump in the count shows. It is text here, since a worklet has to be loaded as a module of its own.
const recorder = (() => {
  const NAME = "farcone-recorder";
  const BLOCK = 2048;

  const SOURCE = `
class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.start = null;
    this.n = 0;
    this.blocks = [new Float32Array(${BLOCK}), new Float32Array(${BLOCK})];
  }
  process(inputs) {
    const input = inputs[0];
    const first = input[0];
    if (!first) return true;
    const second = input[1] ?? first;
    if (this.start === null) this.start = currentFrame;
    const expected = this.start + this.n;
    if (expected !== currentFrame) { this.send(); this.start = currentFrame; }
    this.blocks[0].set(first, this.n);
    this.blocks[1].set(second, this.n);
    this.n += first.length;
    if (this.n + 128 > ${BLOCK}) this.send();
    return true;
  }
  send() {
    const channels = this.blocks.map((block) => block.slice(0, this.n));
    this.port.postMessage({ frame: this.start, channels }, channels.map((channel) => channel.buffer));
    this.start = null;
    this.n = 0;
  }
}
registerProcessor("${NAME}", Recorder);
`;

  // A page from disk may load it from data: only, and other settings from blob: only.
  async function load(context) {
    const addresses = [
      () => `data:text/javascript;charset=utf-8,${encodeURIComponent(SOURCE)}`,
      () => URL.createObjectURL(new Blob([SOURCE], { type: "text/javascript" })),
    ];
    let problem = null;
    for (const address of addresses) {
      try {
        await context.audioWorklet.addModule(address());
        return;
      } catch (error) {
        problem = error;
      }
    }
    throw new Error(say("error.worklet", { why: String(problem?.message ?? problem) }));
  }

  function node(context) {
    return new AudioWorkletNode(context, NAME, {
      numberOfInputs: 1,
      numberOfOutputs: 0,
      channelCount: 2,
      channelCountMode: "explicit",
      channelInterpretation: "discrete",
    });
  }

  return { load, node };
})();

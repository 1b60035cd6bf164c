// Browsers that cannot do what is needed are told so on the first page, and are led to the route by hand where that can be gone at all:
// node lacks.mjs KIT OUT
import { expect, load, open, run } from "./hands.mjs";

const AGENTS = {
  phone: "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1",
  safari: "Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.0 Safari/605.1.15",
};
// What is wrong, what is said, and whether recordings made elsewhere can be judged.
const CASES = [
  { name: "phone", agent: AGENTS.phone, said: "On this telephone or tablet", byHand: true },
  { name: "safari", agent: AGENTS.safari, said: "cannot be relied on to record two channels", byHand: true },
  { name: "no worklet", without: "AudioWorkletNode", said: "recording without gaps", byHand: true },
  { name: "no unpacking", without: "DecompressionStream", said: "unpacking of the measuring core", byHand: false },
  { name: "no core", without: "WebAssembly", said: "running of the measuring core", byHand: false },
];

// Runs in the page, before its own script.
function cripple({ agent, without }) {
  if (agent) Object.defineProperty(navigator, "userAgent", { get: () => agent });
  if (without) delete window[without];
}

await run(async (kit, out) => {
  for (const { name, said, byHand, ...how } of CASES) {
    const { page, close, hands } = await open(kit, out);
    page.setDefaultTimeout(30_000);
    await page.addInitScript(cripple, how);
    await load(page, kit);
    const first = await hands.said("#question");
    expect(first.includes(said), `${name}: the first page says ${first}`);
    expect(first.includes("You can still go on here") === byHand, `${name}: the first page says ${first}`);
    await hands.look(name.replace(" ", "-"));
    await hands.goOn();
    await page.getByText("Two wide sockets").click();
    if (byHand) {
      await hands.goOn();
      expect((await hands.said("#question")).includes("One device plays files"), `${name}: not led to the route by hand`);
    } else {
      await page.locator(".steps-nav button.on").click();
      const why = page.locator(".why");
      await why.waitFor();
      expect((await why.innerText()).includes("nothing can be judged here"), `${name}: ${await why.innerText()}`);
    }
    await close();
  }
});

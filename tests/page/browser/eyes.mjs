// One look at any page: node eyes.mjs PAGE OUT
import { open, run } from "./hands.mjs";

await run(async (path, out) => {
  const { close, hands } = await open(path, out);
  await hands.look("page");
  await close();
});

// Proves the rig of @character@ against vectors written with it. Usage: node @name@_check.mjs @name@_vectors.txt
import { readFileSync } from "node:fs";
import { argv, exit } from "node:process";
import { channels, legLength, outputCount, perJoint, pose } from "./@name@_rig.mjs";

const allowed = 1e-12;
const numbers = readFileSync(argv[2], "utf8").split(/\s+/).map(Number);
const [count, channelCount, outputs] = numbers;
if (channelCount !== channels.length || outputs !== outputCount || !(count > 0)) {
  console.error("usage: node @name@_check.mjs @name@_vectors.txt, written together with this rig");
  exit(2);
}
const found = new Float64Array(outputCount);
let worst = 0;
let failed = 0;
for (let n = 0; n < count; n += 1) {
  const at = 3 + n * (1 + channelCount + outputs) + 1;
  pose(numbers.slice(at, at + channelCount), found);
  const wanted = numbers.slice(at + channelCount, at + channelCount + outputs);
  const scale = Math.abs(wanted[0]);
  let apart = 0;
  wanted.forEach((value, k) => {
    // Places are compared by the leg's length in that pose, turns as they are, the scale by itself.
    const unit = k === 0 ? scale : (k - 1) % perJoint > 3 ? scale * legLength : 1;
    const difference = Math.abs(value - found[k]) / unit;
    if (!(difference <= apart)) apart = difference; // NaN is worst
  });
  if (!(apart <= worst)) worst = apart;
  if (!(apart <= allowed)) failed += 1;
}
console.log(`${count} poses, double: ${worst.toExponential(1)}, allowed ${allowed.toExponential(1)}`);
if (failed > 0) console.log(`FAILED: ${failed} poses`);
exit(failed > 0 ? 1 : 0);

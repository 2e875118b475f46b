// Poses the rig of @character@ once, and says where its joints are. Run: node @name@_example.mjs
import { channels, joints, outputCount, perJoint, pose } from "./@name@_rig.mjs";

const values = channels.map((channel) => channel.default);
values[channels.findIndex((channel) => channel.name === "@example@")] = @example_value@;
const outputs = new Float64Array(outputCount);
pose(values, outputs);
joints.forEach((joint, number) => {
  const at = 1 + perJoint * number;
  const turn = [...outputs.slice(at, at + 4)].map((value) => value.toFixed(4).padStart(8));
  const place = [...outputs.slice(at + 4, at + 7)].map((value) => value.toFixed(4).padStart(9));
  console.log(joint.name.padEnd(24), "turn", ...turn, "  place", ...place);
});

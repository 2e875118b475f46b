// Prints what three.js makes of a .glb at chosen times: node pose.mjs FILE CLIP VERTEX_STEP TIME...
import fs from "node:fs";
import { shown } from "./shown.mjs";

globalThis.self = globalThis; // the loader looks for it; no image is ever loaded here
const [file, clipName, vertexStep, ...times] = process.argv.slice(2);
const bytes = fs.readFileSync(file);
const buffer = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength);
console.log(JSON.stringify(await shown(buffer, clipName, Number(vertexStep), times.map(Number))));

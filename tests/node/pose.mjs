// Prints what three.js makes of a .glb at chosen times: positions of nodes, and of skinned vertices.
// node pose.mjs FILE CLIP VERTEX_STEP TIME...    CLIP is a clip's name, or "" for the rest pose.
import fs from "node:fs";
import * as THREE from "three";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";

globalThis.self = globalThis; // the loader looks for it; no image is ever loaded here
const [file, clipName, vertexStep, ...times] = process.argv.slice(2);
const bytes = fs.readFileSync(file);
const buffer = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength);

const gltf = await new GLTFLoader().parseAsync(buffer, "");
const mixer = new THREE.AnimationMixer(gltf.scene);
if (clipName) {
  const action = mixer.clipAction(THREE.AnimationClip.findByName(gltf.animations, clipName));
  action.setLoop(THREE.LoopOnce, 1);
  action.clampWhenFinished = true;
  action.play();
}
const found = times.map((time) => {
  mixer.setTime(Number(time));
  gltf.scene.updateMatrixWorld(true);
  const joints = {};
  const vertices = [];
  gltf.scene.traverse((object) => {
    if (object.isBone) {
      const index = gltf.parser.associations.get(object).nodes;
      joints[index] = new THREE.Vector3().setFromMatrixPosition(object.matrixWorld).toArray();
    }
    if (object.isSkinnedMesh) {
      object.skeleton.update();
      const count = object.geometry.attributes.position.count;
      for (let i = 0; i < count; i += Number(vertexStep)) {
        const point = object.getVertexPosition(i, new THREE.Vector3()).applyMatrix4(object.matrixWorld);
        vertices.push(point.toArray());
      }
    }
  });
  return { joints, vertices };
});
console.log(JSON.stringify(found));

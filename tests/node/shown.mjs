// What three.js makes of a .glb at chosen times: positions of nodes, and of skinned vertices. In Node and in a browser.
import * as THREE from "three";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";

/** buffer: the file's bytes; clipName: a clip's name, or "" for the rest pose; times in seconds. */
export async function shown(buffer, clipName, vertexStep, times) {
  const gltf = await new GLTFLoader().parseAsync(buffer, "");
  const mixer = new THREE.AnimationMixer(gltf.scene);
  if (clipName) {
    const action = mixer.clipAction(THREE.AnimationClip.findByName(gltf.animations, clipName));
    action.setLoop(THREE.LoopOnce, 1);
    action.clampWhenFinished = true;
    action.play();
  }
  return times.map((time) => {
    mixer.setTime(time);
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
        for (let i = 0; i < count; i += vertexStep) {
          const point = object.getVertexPosition(i, new THREE.Vector3()).applyMatrix4(object.matrixWorld);
          vertices.push(point.toArray());
        }
      }
    });
    return { joints, vertices };
  });
}

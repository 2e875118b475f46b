// Pieces of the mesh that are drawn by themselves: each foot, and each sole.
import type { Ink } from "./ink";
import type { RigModel } from "./rigmodel";

export function fillPieces(ink: Ink, rig: RigModel): void {
  for (const leg of rig.info.legs) {
    ink.addPiece(leg.name, facesOf(rig, leg.drawn));
    ink.addPiece(`${leg.name}.sole`, facesOf(rig, leg.vertices));
  }
}

/** Corners of the faces all of whose vertices are among these. */
function facesOf(rig: RigModel, vertices: readonly number[]): Uint32Array {
  const own = new Uint8Array(rig.mesh.count);
  for (const vertex of vertices) own[vertex] = 1;
  const faces: number[] = [];
  const all = rig.mesh.faces;
  for (let f = 0; f < all.length; f += 3) if (own[all[f]!] && own[all[f + 1]!] && own[all[f + 2]!]) faces.push(all[f]!, all[f + 1]!, all[f + 2]!);
  return Uint32Array.from(faces);
}

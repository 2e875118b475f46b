import { bench } from "./bench";
import type { RigModel } from "./rigmodel";
import { spoken } from "./words";
import type { Vec3 } from "./vector";

// Landmarks that are being moved: shown where the hand has them until the server has measured anew.

export const moving: { name: string; point: Vec3 | null } = { name: "", point: null };

export function dragMark(name: string, point: Vec3): void {
  moving.name = name;
  moving.point = point;
  bench.paint(false);
  bench.tell();
}

export function dropMark(): void {
  if (moving.point) void writeMark(moving.name, moving.point);
}

/** Write a landmark; where it is refused the old one shows again. */
export async function writeMark(name: string, point: Vec3 | null): Promise<void> {
  bench.dragging = false;
  await bench.ask({ kind: "set_landmark", name, point }, `measuring with ${spoken(name)} ${point ? "by hand" : "as found"}`);
  moving.name = "";
  moving.point = null;
  bench.tell();
}

export const legOfMark = (rig: RigModel, name: string): string => rig.info.legs.find((leg) => name.startsWith(`${leg.name}.`))!.name;

export function markPlace(rig: RigModel, name: string): Vec3 {
  if (moving.name === name && moving.point) return moving.point;
  const leg = rig.info.legs.find((one) => name.startsWith(`${one.name}.`))!;
  return leg.landmarks.find((mark) => `${leg.name}.${mark.name}` === name)!.position as Vec3;
}

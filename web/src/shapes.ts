// Where controls and their grips are on the stage, and what a drag of them means.
import type { ChannelInfo, LegInfo, ShapeInfo } from "./messages";
import type { RigModel } from "./rigmodel";
import type { StageView } from "./camera";
import type { Vec2, Vec3 } from "./vector";
import { add, carried, cross, dot, scaled, sub } from "./vector";

export interface Drawn {
  control: string;
  side: ShapeInfo["side"];
  shape: ShapeInfo["shape"];
  /** In the world, as posed. */
  lines: Vec3[][];
  /** On the stage. */
  flat: Vec2[][];
}

export interface Grip {
  control: string;
  quantity: string;
  /** The frame that carries it, and its place there in the bind pose. */
  frame: string;
  point: Vec3;
  words: string;
}

type Frames = (control: string) => Float64Array | null;

export function drawnShapes(rig: RigModel, frames: Frames, view: StageView): Drawn[] {
  return rig.info.shapes.map((shape) => {
    const frame = frames(shape.control);
    const lines = shape.polylines.map((line) => line.map((p) => (frame ? carried(frame, 0, p as Vec3) : (p as Vec3))));
    return { control: shape.control, side: shape.side, shape: shape.shape, lines, flat: lines.map((line) => line.map((p) => view.project(p))) };
  });
}

/** The control whose drawing is nearest to a pixel, within reach; "" where none is. */
export function nearestControl(shapes: readonly Drawn[], x: number, y: number, reach = 14): string {
  let best = "";
  let least = reach;
  for (const shape of shapes) {
    let away = Math.min(...shape.flat.map((line) => lineDistance(line, x, y)));
    if (shape.control === "root") away += 5; // the widest drawing gives way to those inside it
    else if (shape.control.endsWith(".foot")) away -= 3;
    if (away < least) [least, best] = [away, shape.control];
  }
  if (best) return best;
  const inside = shapes.find((shape) => shape.control.endsWith(".foot") && shape.flat.some((line) => contains(line, x, y)));
  return inside?.control ?? "";
}

export function lineDistance(line: readonly Vec2[], x: number, y: number): number {
  let least = Infinity;
  for (let i = 1; i < line.length; i++) {
    const [ax, ay] = line[i - 1]!;
    const [bx, by] = line[i]!;
    const dx = bx - ax, dy = by - ay;
    const share = Math.min(Math.max(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1), 0), 1);
    least = Math.min(least, Math.hypot(x - ax - share * dx, y - ay - share * dy));
  }
  return least;
}

export function contains(ring: readonly Vec2[], x: number, y: number): boolean {
  let inside = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const [ax, ay] = ring[i]!;
    const [bx, by] = ring[j]!;
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  }
  return inside;
}

/** A landmark's place. */
export const place = (leg: LegInfo, name: string): Vec3 => leg.landmarks.find((mark) => mark.name === name)!.position as Vec3;

/** Directions of a foot: out of the body, up from the sole, from heel to toe. */
export function footAxes(leg: LegInfo): { out: Vec3; up: Vec3; ahead: Vec3 } {
  const up = leg.sole_normal as Vec3;
  const ahead = leg.axis as Vec3;
  const left = cross(up, ahead);
  return { out: scaled(left, leg.side === "left" ? 1 : -1), up, ahead };
}

/** The grips of what is held: they stand where the turn can be seen, clear of the body. */
export function gripsOf(rig: RigModel, control: string): Grip[] {
  const leg = rig.legOf(control);
  const has = (quantity: string): boolean => rig.index.has(`${control}.${quantity}`);
  const grips: Grip[] = [];
  if (leg && control === `${leg.name}.foot`) {
    const { out, up, ahead } = footAxes(leg);
    const L = leg.foot_length;
    const at = (from: Vec3, o: number, u: number, a: number): Vec3 => add(from, add(scaled(out, o * L), add(scaled(up, u * L), scaled(ahead, a * L))));
    if (has("roll")) grips.push({ control, quantity: "roll", frame: leg.has_toes ? `${leg.name}.ball` : `${leg.name}.tip`, point: at(place(leg, "heel"), 0, 0.14, -0.26), words: "roll" });
    if (has("bank")) grips.push({ control, quantity: "bank", frame: `${leg.name}.tip`, point: at(place(leg, "outer"), 0.1, 0.34, -0.08), words: "bank" });
    if (has("twist")) grips.push({ control, quantity: "twist", frame: control, point: at(place(leg, "tip"), 0, 0, 0.2), words: "twist" });
    if (has("up")) grips.push({ control, quantity: "up", frame: control, point: at(place(leg, "heel"), 0.34, 0, 0.05), words: "up" });
  } else if (control === "pelvis" || control === "root") {
    const shape = rig.info.shapes.find((one) => one.control === control);
    if (shape && has("yaw")) {
      const ring = shape.polylines[0]! as Vec3[];
      const ahead = rig.info.forward as Vec3;
      const front = ring.reduce((best, p) => (dot(p, ahead) > dot(best, ahead) ? p : best), ring[0]!);
      grips.push({ control, quantity: "yaw", frame: control, point: add(front, scaled(ahead, 0.12 * rig.info.leg_length)), words: "turn" });
    }
  }
  return grips;
}

/** Where a grip is. */
export function gripPlace(grip: Grip, frames: Frames): Vec3 {
  const frame = frames(grip.frame);
  return frame ? carried(frame, 0, grip.point) : grip.point;
}

/** The way that a grip takes over the whole of its channel, all else as it is: (value, place) in steps. */
export function gripWay(rig: RigModel, values: Float64Array, grip: Grip, step: number): [number, Vec3][] {
  const i = rig.index.get(`${grip.control}.${grip.quantity}`)!;
  const channel = rig.info.channels[i]!;
  const at = values.slice();
  const span = channel.unit === "deg" ? [channel.low, channel.high] : [values[i]! - 0.35 * rig.info.leg_length, values[i]! + 0.35 * rig.info.leg_length];
  const way: [number, Vec3][] = [];
  const first = Math.ceil(span[0]! / step) * step;
  for (let value = first; value <= span[1]! + 1e-9; value += step) {
    at[i] = value;
    way.push([value, gripPlace(grip, rig.controlFrames(at))]);
  }
  return way;
}

/** Where the turn of a grip happens: the landmark that stays, as it stands now. */
export function turnPlace(rig: RigModel, grip: Grip, frames: Frames, value: number): Vec3 | null {
  const leg = rig.legOf(grip.control);
  if (!leg || grip.quantity === "up") return null;
  const { up } = footAxes(leg);
  const ball = place(leg, "ball");
  const under = sub(ball, scaled(up, dot(sub(ball, place(leg, "heel")), up)));
  const of = (name: string, point: Vec3): Vec3 => {
    const frame = frames(`${leg.name}.${name}`);
    return frame ? carried(frame, 0, point) : point;
  };
  if (grip.quantity === "twist") return of("foot", under);
  if (grip.quantity === "bank") return of(value >= 0 ? "outer" : "inner", place(leg, value >= 0 ? "outer" : "inner"));
  if (value < 0) return of("heel", place(leg, "heel"));
  return leg.has_toes && value < leg.tip_takes_over_deg ? of("ball", ball) : of("tip", place(leg, "tip"));
}

const MOVES = ["across", "up", "along"];
const TURNS = ["pitch", "bend", "yaw", "lean"];

/** The one or two channels that a drag of a control's own drawing changes: those that move it best in this view. */
export function dragChannels(rig: RigModel, control: string, values: Float64Array, view: StageView, point: Vec3): ChannelInfo[] {
  const own = rig.channelsOf(control);
  const find = (names: string[]): ChannelInfo[] => own.filter((channel) => names.includes(channel.quantity));
  if (control.endsWith(".foot") || control === "root") {
    const floor = find(["across", "along"]);
    if (floor.length === 2 && view.pitch > 4) return floor;
  }
  const moves = find(MOVES);
  const candidates = moves.length ? moves : find(TURNS).length ? find(TURNS) : own.slice(0, 1);
  if (candidates.length < 2) return candidates;
  const slopes = candidates.map((channel) => {
    const i = rig.index.get(channel.name)!;
    const h = channel.unit === "deg" ? 1 : 0.01 * rig.info.leg_length;
    const at = values.slice();
    at[i] = values[i]! + h;
    const ahead = view.project(posed(rig, control, at, point));
    at[i] = values[i]! - h;
    const behind = view.project(posed(rig, control, at, point));
    return [ahead[0] - behind[0], ahead[1] - behind[1]] as Vec2;
  });
  let best: [number, number] = [0, 1];
  let most = -1;
  for (let a = 0; a < candidates.length; a++)
    for (let b = a + 1; b < candidates.length; b++) {
      const area = Math.abs(slopes[a]![0] * slopes[b]![1] - slopes[a]![1] * slopes[b]![0]);
      if (area > most) [most, best] = [area, [a, b]];
    }
  const long = slopes.map((slope) => Math.hypot(...slope));
  if (most < 0.15 * Math.max(...long) ** 2) return [candidates[long.indexOf(Math.max(...long))]!];
  return [candidates[best[0]]!, candidates[best[1]]!];
}

/** A point of a control's drawing (in the bind pose) under some values. */
export function posed(rig: RigModel, control: string, values: Float64Array, point: Vec3): Vec3 {
  const frame = rig.controlFrames(values)(control);
  return frame ? carried(frame, 0, point) : point;
}

/** The point of a control's drawing in the bind pose that lies nearest to a pixel as it is drawn now. */
export function grabbedPoint(rig: RigModel, shapes: readonly Drawn[], control: string, x: number, y: number): Vec3 | null {
  const info = rig.info.shapes.find((shape) => shape.control === control);
  const drawn = shapes.find((shape) => shape.control === control);
  if (!info || !drawn) return null;
  let best: Vec3 | null = null;
  let least = Infinity;
  drawn.flat.forEach((line, k) =>
    line.forEach((p, i) => {
      const away = Math.hypot(p[0] - x, p[1] - y);
      if (away < least) [least, best] = [away, info.polylines[k]![i] as Vec3];
    }),
  );
  return best;
}

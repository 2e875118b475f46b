// What is drawn under and over the character: floor, controls, grips, landmarks. Text of SVG, written anew each frame.
import { bench } from "./bench";
import type { StageView } from "./camera";
import type { RigModel } from "./rigmodel";
import { type Drawn, type Grip, gripWay, place, turnPlace } from "./shapes";
import { moving } from "./marks";
import { fixed, letter, sizeWords, spoken, valueWords } from "./words";
import type { Vec2, Vec3 } from "./vector";
import { add, along, dot, scaled, sub } from "./vector";

export interface Handle {
  grip: Grip;
  at: Vec2;
}

const path = (points: readonly Vec2[]): string => points.map((p, i) => `${i ? "L" : "M"}${p[0].toFixed(1)} ${p[1].toFixed(1)}`).join("");
const text = (p: Vec2, cls: string, words: string): string => `<text x="${p[0].toFixed(1)}" y="${p[1].toFixed(1)}" class="${cls}">${words}</text>`;
const sideClass = (side: string): string => (side === "left" ? "cl" : side === "right" ? "cr" : "cm");

/** The floor: a grid that covers both feet, with a rule along its front and one side, in centimetres. */
export function drawFloor(rig: RigModel, view: StageView): string {
  const { info } = rig;
  const left = info.left as Vec3, up = info.up as Vec3, ahead = info.forward as Vec3;
  const cell = info.mm ? (info.leg_length > 0.3 ? 0.1 : 0.05) : info.leg_length / 5;
  const points = info.legs.flatMap((leg) => leg.outline) as Vec3[];
  const reach = (axis: Vec3): [number, number] => {
    const at = points.map((p) => dot(p, axis));
    return [Math.floor(Math.min(...at) / cell - 0.7) * cell, Math.ceil(Math.max(...at) / cell + 0.7) * cell];
  };
  const [x0, x1] = reach(left);
  const [z0, z1] = reach(ahead);
  const at = (x: number, z: number): Vec2 => view.project(along(left, up, ahead, x, info.floor, z));
  let out = "";
  const line = (a: Vec2, b: Vec2, cls: string): void => void (out += `<path class="${cls}" d="${path([a, b])}"/>`);
  for (let x = x0; x <= x1 + 1e-9; x += cell) line(at(x, z0), at(x, z1), "hair");
  for (let z = z0; z <= z1 + 1e-9; z += cell) line(at(x0, z), at(x1, z), "hair");
  const faces = Math.cos((view.yaw * Math.PI) / 180) >= 0 ? z1 : z0;
  const other = Math.sin((view.yaw * Math.PI) / 180) >= 0 ? x1 : x0;
  const unit = info.mm ? 100 : 1;
  const centre = view.project(along(left, up, ahead, (x0 + x1) / 2, info.floor, (z0 + z1) / 2));
  const rule = (from: number, to: number, where: (value: number) => Vec2, name: string): void => {
    line(where(from), where(to), "fine");
    const small = cell / 5;
    for (let value = from, n = 0; value <= to + 1e-9; value += small, n++) {
      const p = where(value);
      const away: Vec2 = [p[0] - centre[0], p[1] - centre[1]];
      const size = Math.hypot(...away) || 1;
      const whole = n % 5 === 0;
      const reach = whole ? 9 : 5;
      const end: Vec2 = [p[0] + (away[0] / size) * reach, p[1] + (away[1] / size) * reach];
      line(p, end, "fine");
      if (n % 10 === 0) {
        const last = value + 10 * small > to + 1e-9;
        out += text([p[0] + (away[0] / size) * 20, p[1] + (away[1] / size) * 20 + 4], "note mid", fixed(value * unit, info.mm ? 0 : 2) + (last ? ` ${info.mm ? "cm" : "units"}${name}` : ""));
      }
    }
  };
  rule(x0, x1, (value) => at(value, faces), "");
  rule(z0, z1, (value) => at(other, value), "");
  return out;
}

/** Control outlines on the floor: they lie under the body. */
export function drawUnder(rig: RigModel, view: StageView, shapes: readonly Drawn[]): string {
  let out = "";
  for (const shape of shapes) {
    if (shape.shape !== "outline") continue;
    const held = shape.control === bench.held;
    const moved = rig.channelsOf(shape.control).some((channel) => Math.abs(bench.value(channel.name) - channel.default) > 1e-9);
    const rest = rig.info.shapes.find((one) => one.control === shape.control)!;
    if (held && moved && shape.control !== "root") out += rest.polylines.map((line) => `<path class="rest" d="${path(line.map((p) => view.project(p as Vec3)))}"/>`).join("");
    const cls = `${sideClass(shape.side)}${held ? " grab" : bench.hover === shape.control ? " hovered" : shape.control === "root" ? " faint" : ""}`;
    for (const line of shape.flat) {
      if (held && line.length > 3) out += `<path class="wash-${shape.side}" d="${path(line)}"/>`;
      out += `<path class="${cls}" d="${path(line)}"/>`;
    }
    if (shape.control.endsWith(".foot")) {
      const ring = shape.flat[0]!;
      const end = ring.reduce((best, p) => (p[0] < best[0] ? p : best), ring[0]!);
      out += text([end[0] - 20, end[1] + 14], `side-letter ${shape.side}`, letter(shape.side));
    }
  }
  return out;
}

/** Sections round the body and marks in the air: what faces the eye is drawn, the rest as a hair. */
export function drawOver(
  rig: RigModel, view: StageView, shapes: readonly Drawn[], handles: readonly Handle[],
  frames: (control: string) => Float64Array | null, pulled: string, moving: boolean, steps: number,
): string {
  let out = "";
  const legs = new Set(rig.info.legs.map((leg) => leg.name));
  for (const shape of shapes) {
    if (shape.shape === "outline") continue;
    const held = shape.control === bench.held;
    const hovered = bench.hover === shape.control;
    const own = legs.has(shape.control.slice(0, shape.control.lastIndexOf("."))) || shape.control === "pelvis";
    const cls = `${sideClass(shape.side)}${held ? " grab" : hovered ? " hovered" : own ? " thin" : " faint"}`;
    if (shape.shape === "mark") {
      for (const line of shape.flat) out += `<path class="${cls}" d="${path(line)}"/>`;
      const tip = shape.flat[0]![0]!;
      if (hovered || held) continue;
      out += text([tip[0] - 8, tip[1] - 4], "note end", spoken(shape.control));
      continue;
    }
    shape.lines.forEach((line, k) => {
      const centre = scaled(line.reduce<Vec3>((sum, p) => add(sum, p), [0, 0, 0]), 1 / line.length);
      const front: Vec2[][] = [];
      line.forEach((p, i) => {
        if (view.facing(p, sub(p, centre)) > 0) {
          if (!front.length || i === 0 || view.facing(line[i - 1]!, sub(line[i - 1]!, centre)) <= 0) front.push([]);
          front[front.length - 1]!.push(shape.flat[k]![i]!);
        }
      });
      if (held || hovered) out += `<path class="hidden-part" d="${path(shape.flat[k]!)}"/>`;
      for (const piece of front) if (piece.length > 1) out += `<path class="${cls}" d="${path(piece)}"/>`;
    });
  }
  for (const handle of handles) out += drawGrip(rig, view, handle, frames, pulled, steps);
  const heldShape = shapes.find((shape) => shape.control === bench.held);
  if (moving && heldShape) out += drawMove(rig, view, heldShape);
  const named = shapes.find((shape) => shape.control === bench.hover);
  if (named && bench.hover !== bench.held) {
    const top = named.flat.flat().reduce((best, p) => (p[1] < best[1] ? p : best));
    out += text([top[0], top[1] - 10], `name mid ${named.side}`, spoken(named.control));
  }
  return out;
}

/** A grip, and for the one that is pulled or chosen its whole way, with ticks, and the reading beside it. */
function drawGrip(rig: RigModel, view: StageView, handle: Handle, frames: (control: string) => Float64Array | null, pulled: string, steps: number): string {
  const { grip } = handle;
  const name = `${grip.control}.${grip.quantity}`;
  const channel = bench.channel(name);
  if (!channel) return "";
  const value = bench.value(name);
  const side = grip.control.startsWith("left") ? "left" : grip.control.startsWith("right") ? "right" : "middle";
  const active = pulled === grip.quantity || (!pulled && bench.quantity === grip.quantity);
  const hovered = bench.hover === `${grip.control} ${grip.quantity}`;
  let out = "";
  if (active && grip.quantity !== "up") {
    const way = gripWay(rig, bench.values, grip, 5).map(([at, p]) => [at, view.project(p)] as const);
    const pivotPlace = turnPlace(rig, grip, frames, value);
    const pivot = pivotPlace && view.project(pivotPlace);
    const between = way.filter(([at]) => (value >= 0 ? at >= 0 && at < value : at <= 0 && at > value)).map(([, p]) => p);
    const zero = way.find(([at]) => Math.abs(at) < 1e-9)?.[1];
    if (value < 0) between.reverse();
    const swept = zero ? [...(between.length ? between : [zero]), handle.at] : [];
    if (pivot && swept.length > 1) out += `<path class="wash-${side} swept" d="${path([pivot, ...swept])}Z"/>`;
    out += `<path class="rule" d="${path(way.map(([, p]) => p))}"/>`;
    way.forEach(([at, p], i) => {
      const near = way[i ? i - 1 : 1]?.[1];
      if (!near) return;
      const d: Vec2 = [p[0] - near[0], p[1] - near[1]];
      const size = Math.hypot(...d) || 1;
      const s = (Math.abs(at % 10) < 1e-9 ? 7 : 4) * (i ? 1 : -1);
      out += `<path class="rule" d="${path([p, [p[0] - (d[1] / size) * s, p[1] + (d[0] / size) * s]])}"/>`;
    });
    if (swept.length > 1) out += `<path class="${sideClass(side)} grab solid" d="${path(swept)}"/>`;
    if (pivot) {
      if (zero) out += `<path class="rest" d="${path([pivot, zero])}"/>`;
      out += `<path class="${sideClass(side)} solid thin" d="${path([pivot, handle.at])}"/><circle class="pivot ${side}" cx="${pivot[0]}" cy="${pivot[1]}" r="4"/>`;
    }
  }
  const r = active || hovered ? 7.5 : 5;
  out += `<circle class="grip ${side}${active ? " active" : ""}" data-grip="${grip.quantity}" cx="${handle.at[0].toFixed(1)}" cy="${handle.at[1].toFixed(1)}" r="${r}"/>`;
  if (active) {
    const [number, unit] = valueWords(channel, value, rig.info.mm);
    const right = handle.at[0] < view.width - 150;
    const x = handle.at[0] + (right ? 16 : -16);
    const cls = right ? "" : " end";
    out += text([x, handle.at[1] - 6], `reading ${side}${cls}`, `${number}${unit === "°" ? "°" : ` ${unit}`}`);
    out += text([x, handle.at[1] + 12], `${cls}`, `${grip.words}, ${spoken(grip.control)}`);
    const end = value >= channel.high - 1e-9 || value <= channel.low + 1e-9;
    if (end) out += text([x, handle.at[1] + 28], `note short${cls}`, "no further");
    else if (steps) out += text([x, handle.at[1] + 28], `note${cls}`, `in steps of ${steps}°`);
  } else if (hovered) out += text([handle.at[0] + 12, handle.at[1] + 4], "note", grip.words);
  else out += text([handle.at[0] + 9, handle.at[1] + 4], "note quiet", grip.words);
  return out;
}

/** While a control is moved: how far it is from rest. */
function drawMove(rig: RigModel, view: StageView, shape: Drawn): string {
  const parts = ["across", "up", "along"].flatMap((quantity) => {
    const channel = bench.channel(`${shape.control}.${quantity}`);
    if (!channel) return [];
    const value = bench.value(channel.name);
    if (Math.abs(value) < 1e-9) return [];
    const [number, unit] = valueWords(channel, value, rig.info.mm);
    return [`${quantity} ${number} ${unit}`];
  });
  const turns = rig.channelsOf(shape.control).filter((channel) => channel.unit === "deg" && ["pitch", "bend", "yaw", "lean"].includes(channel.quantity) && Math.abs(bench.value(channel.name)) > 1e-9);
  if (!parts.length) parts.push(...turns.map((channel) => `${channel.quantity} ${fixed(bench.value(channel.name), 1)}°`));
  const all = shape.flat.flat();
  const right = all.reduce((best, p) => (p[0] > best[0] ? p : best), all[0]!);
  const inside = right[0] + 14 < view.width - 130;
  const x = inside ? right[0] + 14 : view.width - 6;
  return parts.map((words, i) => text([x, right[1] + (inside ? -8 : 26) + 18 * i], `value ${shape.side}${inside ? "" : " end"}`, words)).join("");
}

/** Landmarks on the body, with lines between the joints, and the evidence of the one that is chosen. */
export function drawMarks(rig: RigModel, view: StageView): [string, { name: string; at: Vec2 }[]] {
  let out = "";
  const marks: { name: string; at: Vec2 }[] = [];
  for (const leg of rig.info.legs) {
    const held = bench.held.startsWith(`${leg.name}.`);
    const cls = sideClass(leg.side);
    const at = (name: string): Vec2 | null => {
      const whole = `${leg.name}.${name}`;
      if (moving.name === whole && moving.point) return view.project(moving.point);
      return leg.landmarks.some((mark) => mark.name === name) ? view.project(place(leg, name)) : null;
    };
    const chain = ["hip", "knee", "ankle", "ball", "toe"].map(at).filter((p): p is Vec2 => p !== null);
    out += `<path class="${cls} thin" d="${path(chain)}"/>`;
    const heel = at("heel"), tip = at("tip"), inner = at("inner"), outer = at("outer");
    if (heel && tip) out += `<path class="axis ${leg.side}" d="${path([heel, tip])}"/>`;
    if (inner && outer) out += `<path class="axis ${leg.side}" d="${path([inner, outer])}"/>`;
    for (const mark of leg.landmarks) {
      const name = `${leg.name}.${mark.name}`;
      const p = at(mark.name)!;
      marks.push({ name, at: p });
      const chosen = bench.mark === name;
      const hovered = bench.hover === name;
      if (chosen || hovered) for (const e of mark.evidence) {
        const q = view.project(e as Vec3);
        out += `<circle class="evidence ${leg.side}" cx="${q[0].toFixed(1)}" cy="${q[1].toFixed(1)}" r="1.8"/>`;
      }
      if (mark.by_hand && mark.measured) {
        const q = view.project(mark.measured as Vec3);
        out += `<circle class="rest" cx="${q[0]}" cy="${q[1]}" r="5"/><path class="rest" d="${path([q, p])}"/>`;
      }
      out += `<circle class="grip ${leg.side}${chosen ? " active" : ""}" data-mark="${name}" cx="${p[0].toFixed(1)}" cy="${p[1].toFixed(1)}" r="${chosen || hovered ? 7 : 4.5}"/>`;
      if (held || hovered) {
        const words = mark.name + (mark.by_hand ? ", by hand" : "");
        const out_ = leg.side === "left" ? 12 : -12;
        const flip = ["inner"].includes(mark.name) ? -out_ : out_;
        out += text([p[0] + flip, p[1] + 4], `${chosen ? "value " + leg.side : "mark-name"}${flip < 0 ? " end" : ""}`, words);
      }
    }
    if (held) {
      const knee = place(leg, "knee"), hip = place(leg, "hip"), ankle = place(leg, "ankle");
      const middle = (a: Vec3, b: Vec3): Vec2 => view.project(scaled(add(a, b), 0.5));
      const size = (a: Vec3, b: Vec3): string => sizeWords(Math.hypot(...sub(a, b)), rig.info.mm);
      for (const [words, a, b] of [["thigh", hip, knee], ["shin", knee, ankle]] as const) {
        const p = middle(a, b);
        out += text([p[0] + (leg.side === "left" ? 14 : -14), p[1] + 4], `value${leg.side === "left" ? "" : " end"}`, `${words} ${size(a, b)}`);
      }
    }
  }
  return [out, marks];
}

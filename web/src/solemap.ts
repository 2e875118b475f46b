// A sole over the floor: heights of its triangles now, where it touches, hovers and sinks, and that in a sentence.
import { band, type Corner, levelLine } from "./bands";
import type { LegInfo, RigInfo } from "./messages";
import type { RigModel } from "./rigmodel";
import type { Vec3 } from "./vector";
import { cross, dot, sub } from "./vector";
import { place } from "./shapes";
import { sizeWords } from "./words";

/** Where a sole is drawn: pixels a unit, and the pixel at which the heel lies. */
export interface Sheet {
  scale: number;
  x: number;
  y: number;
}

export class Sole {
  readonly left: Vec3;
  readonly vertices: number[];
  /** Corners of triangles, as numbers into `vertices`; the highest at rest first, so that the lowest are drawn last. */
  readonly faces: [number, number, number][];
  readonly heights: Float64Array;
  /** By vertex: left of the heel and ahead of it, in the sole's plane, at rest. */
  readonly plan: [number, number][];
  readonly bounds: { left: number; right: number; back: number; front: number };

  constructor(
    readonly rig: RigModel,
    readonly leg: LegInfo,
  ) {
    const { mesh } = rig;
    const heel = place(leg, "heel");
    const up = leg.sole_normal as Vec3, ahead = leg.axis as Vec3;
    this.left = cross(up, ahead);
    const numbers = new Map<number, number>();
    this.vertices = [];
    const number = (vertex: number): number => {
      let n = numbers.get(vertex);
      if (n === undefined) {
        n = this.vertices.length;
        numbers.set(vertex, n);
        this.vertices.push(vertex);
      }
      return n;
    };
    const raised: number[] = [];
    this.faces = leg.sole_faces.map((face) => [0, 1, 2].map((k) => number(mesh.faces[3 * face + k]!)) as [number, number, number]);
    this.plan = this.vertices.map((vertex) => {
      const p = sub([mesh.positions[3 * vertex]!, mesh.positions[3 * vertex + 1]!, mesh.positions[3 * vertex + 2]!], heel);
      raised.push(dot(p, up));
      return [dot(p, this.left), dot(p, ahead)];
    });
    const top = (face: [number, number, number]): number => Math.max(...face.map((n) => raised[n]!));
    this.faces.sort((a, b) => top(b) - top(a));
    this.heights = new Float64Array(this.vertices.length);
    const points: [number, number][] = [...this.plan, ...leg.outline.map((p) => this.planOf(p as Vec3))];
    const across = points.map((p) => p[0]), along = points.map((p) => p[1]);
    this.bounds = { left: Math.max(...across), right: Math.min(...across), back: Math.min(...along), front: Math.max(...along) };
  }

  planOf(p: Vec3): [number, number] {
    const from = sub(p, place(this.leg, "heel"));
    return [dot(from, this.left), dot(from, this.leg.axis as Vec3)];
  }

  worldOf(across: number, ahead: number): Vec3 {
    const heel = place(this.leg, "heel"), axis = this.leg.axis as Vec3;
    return [0, 1, 2].map((k) => heel[k]! + across * this.left[k]! + ahead * axis[k]!) as Vec3;
  }

  /** Heights over the floor under joint changes. */
  update(changes: Float32Array): void {
    const { info } = this.rig;
    const up = info.up as Vec3;
    this.vertices.forEach((vertex, n) => {
      this.heights[n] = dot(this.rig.skinned(vertex, changes), up) - info.floor;
    });
  }

  /** Draw the map. From below, toes up: the body's left is to the right. */
  draw(g: CanvasRenderingContext2D, sheet: Sheet, ink: { touch: string; line: string; sink: CanvasPattern | string }, touches: number): void {
    const at = (n: number): Corner => ({ x: sheet.x + sheet.scale * this.plan[n]![0], y: sheet.y - sheet.scale * this.plan[n]![1], h: this.heights[n]! });
    const triangles = this.faces.map((face) => face.map(at));
    const fill = (low: number, high: number, style: string | CanvasPattern): void => {
      g.fillStyle = style;
      g.beginPath();
      for (const triangle of triangles) {
        const polygon = band(triangle, low, high);
        polygon.forEach((corner, i) => (i ? g.lineTo(corner.x, corner.y) : g.moveTo(corner.x, corner.y)));
        if (polygon.length) g.closePath();
      }
      g.fill("nonzero");
    };
    fill(-touches, touches, ink.touch);
    fill(-Infinity, -touches, ink.sink);
    const step = this.rig.info.mm ? 0.01 : 0.03 * this.leg.foot_length;
    const highest = Math.max(...this.heights);
    g.strokeStyle = ink.line;
    for (let level = step, n = 1; level < highest && n < 40; level += step, n++) {
      g.lineWidth = n % 5 === 0 ? 1 : 0.5;
      g.beginPath();
      for (const triangle of triangles) {
        const ends = levelLine(triangle, level);
        if (ends) {
          g.moveTo(ends[0].x, ends[0].y);
          g.lineTo(ends[1].x, ends[1].y);
        }
      }
      g.stroke();
    }
  }

  /** Lowest heights behind, under the ball and at the toes, and the deepest place: by name, and where it lies. */
  reading(): { heel: number; ball: number; toes: number; deepest: number; where: string } {
    const { back, front, left, right } = this.bounds;
    const third = (front - back) / 3;
    const least = { heel: Infinity, ball: Infinity, toes: Infinity };
    let deepest = Infinity;
    let at = 0;
    this.plan.forEach(([, along], n) => {
      const h = this.heights[n]!;
      const zone = along < back + third ? "heel" : along < back + 2 * third ? "ball" : "toes";
      least[zone] = Math.min(least[zone], h);
      if (h < deepest) [deepest, at] = [h, n];
    });
    const [x, z] = this.plan[at] ?? [0, 0];
    const middle = (left + right) / 2;
    const wide = (left - right) / 2 || 1;
    const outward = (x - middle) / wide * (this.leg.side === "left" ? 1 : -1);
    const where = z < back + 0.2 * (front - back) ? "the heel" : z > back + 0.85 * (front - back) ? "the tip" : outward > 0.5 ? "the outer edge" : outward < -0.5 ? "the inner edge" : z < back + 0.5 * (front - back) ? "the arch" : "the ball";
    return { ...least, deepest, where };
  }
}

/** What the map shows, in two short sentences. */
export function soleWords(reading: ReturnType<Sole["reading"]>, info: RigInfo): [string, string] {
  const size = (h: number): string => sizeWords(h, info.mm);
  const t = info.touches;
  const touching = (["heel", "ball", "toes"] as const).filter((zone) => Math.abs(reading[zone]) <= t || reading[zone] < 0);
  if (reading.deepest < -t) return [`sinks ${size(-reading.deepest)}`, `at ${reading.where}`];
  if (!touching.length) return [`hovers ${size(reading.deepest)}`, `lowest at ${reading.where}`];
  if (touching.length === 3) return ["touches", "heel, ball and toes"];
  const high = (["heel", "ball", "toes"] as const).filter((zone) => !touching.includes(zone));
  return [`${touching.join(" and ")} ${touching.length > 1 || touching[0] === "toes" ? "touch" : "touches"};`, high.map((zone) => `${zone} ${zone === "toes" ? "hover" : "hovers"} ${size(reading[zone])}`).join(", ")];
}

// The rig as it was fetched: its channels, its generated programs, its mesh.
import type { ChannelInfo, LegInfo, RigInfo } from "./messages";
import type { Vec3 } from "./vector";
import { carried } from "./vector";

interface Program {
  channels: string[];
  outputs: string[];
  evaluate(c: ArrayLike<number>, o: Float64Array): void;
}

export interface Mesh {
  count: number;
  influences: number;
  positions: Float32Array;
  normals: Float32Array;
  faces: Uint32Array;
  joints: Uint16Array;
  weights: Float32Array;
  part: Float32Array;
}

export class RigModel {
  readonly index = new Map<string, number>();
  readonly defaults: Float64Array;
  readonly controls: string[];
  private readonly frameRow = new Map<string, number>();
  private readonly outputs: Float64Array;
  private readonly frameOutputs: Float64Array;
  private readonly driverChanges: Float64Array;

  constructor(
    readonly info: RigInfo,
    readonly mesh: Mesh,
    private readonly rig: Program,
    private readonly frames: Program,
  ) {
    rig.channels.forEach((name, i) => this.index.set(name, i));
    this.defaults = Float64Array.from(info.channels, (channel) => channel.default);
    this.controls = [...new Set(info.channels.map((channel) => channel.control))];
    this.outputs = new Float64Array(rig.outputs.length);
    this.frameOutputs = new Float64Array(frames.outputs.length);
    this.driverChanges = new Float64Array(12 * info.drivers.length);
    frames.outputs.forEach((name, row) => {
      if (name.endsWith(".w")) this.frameRow.set(name.slice(0, -2), row);
    });
  }

  channelsOf(control: string): ChannelInfo[] {
    return this.info.channels.filter((channel) => channel.control === control);
  }

  leg(name: string): LegInfo | undefined {
    return this.info.legs.find((leg) => leg.name === name);
  }

  legOf(control: string): LegInfo | undefined {
    return this.info.legs.find((leg) => control.startsWith(`${leg.name}.`));
  }

  values(pose: Record<string, number>): Float64Array {
    const values = this.defaults.slice();
    for (const [name, value] of Object.entries(pose)) {
      const i = this.index.get(name);
      if (i !== undefined) values[i] = value;
    }
    return values;
  }

  pose(values: Float64Array): Record<string, number> {
    const pose: Record<string, number> = {};
    this.info.channels.forEach((channel, i) => {
      if (values[i] !== channel.default) pose[channel.name] = values[i]!;
    });
    return pose;
  }

  /** What each joint does to the bind pose, [A | t] by rows, 12 numbers a joint. */
  changes(values: Float64Array, into: Float32Array): void {
    const drivers = this.drive(values);
    this.info.joints.forEach((joint, j) => {
      for (let k = 0; k < 12; k++) into[12 * j + k] = drivers[12 * joint.follows + k]!;
    });
  }

  /** Where the joints stand, by name. */
  jointPositions(values: Float64Array): Record<string, Vec3> {
    const drivers = this.drive(values);
    return Object.fromEntries(this.info.joints.map((joint) => [joint.name, carried(drivers, 12 * joint.follows, joint.bind as Vec3)]));
  }

  private drive(values: Float64Array): Float64Array {
    this.rig.evaluate(values, this.outputs);
    const scale = this.outputs[0]!;
    this.info.drivers.forEach((driver, d) => {
      const to = 12 * d;
      turned(this.outputs, 1 + 7 * d, scale, this.driverChanges, to);
      for (let row = 0; row < 3; row++) {
        const m = this.driverChanges;
        const at = to + 4 * row;
        m[at + 3] = this.outputs[1 + 7 * d + 4 + row]! - m[at]! * driver.point[0] - m[at + 1]! * driver.point[1] - m[at + 2]! * driver.point[2];
      }
    });
    return this.driverChanges;
  }

  /** Where controls have gone: a function that gives [A | t] of a control, 12 numbers by rows. */
  controlFrames(values: Float64Array): (control: string) => Float64Array | null {
    this.frames.evaluate(values, this.frameOutputs);
    const outputs = this.frameOutputs.slice();
    return (control) => {
      const row = this.frameRow.get(control);
      if (row === undefined) return null;
      const m = new Float64Array(12);
      turned(outputs, row, outputs[0]!, m, 0);
      for (let k = 0; k < 3; k++) m[4 * k + 3] = outputs[row + 4 + k]!;
      return m;
    };
  }

  /** One vertex under joint changes. */
  skinned(vertex: number, changes: Float32Array): Vec3 {
    const { positions, joints, weights, influences } = this.mesh;
    const x = positions[3 * vertex]!, y = positions[3 * vertex + 1]!, z = positions[3 * vertex + 2]!;
    const p: Vec3 = [0, 0, 0];
    for (let k = 0; k < influences; k++) {
      const w = weights[influences * vertex + k]!;
      if (!w) continue;
      const at = 12 * joints[influences * vertex + k]!;
      for (let row = 0; row < 3; row++) {
        const a = at + 4 * row;
        p[row]! += w * (changes[a]! * x + changes[a + 1]! * y + changes[a + 2]! * z + changes[a + 3]!);
      }
    }
    return p;
  }
}

/** The matrix of a unit quaternion w, x, y, z at `from`, times a scale, into rows of four at `to`. */
function turned(q: ArrayLike<number>, from: number, scale: number, m: Float64Array, to: number): void {
  const w = q[from]!, x = q[from + 1]!, y = q[from + 2]!, z = q[from + 3]!;
  m[to] = scale * (1 - 2 * (y * y + z * z));
  m[to + 1] = scale * 2 * (x * y - w * z);
  m[to + 2] = scale * 2 * (x * z + w * y);
  m[to + 4] = scale * 2 * (x * y + w * z);
  m[to + 5] = scale * (1 - 2 * (x * x + z * z));
  m[to + 6] = scale * 2 * (y * z - w * x);
  m[to + 8] = scale * 2 * (x * z - w * y);
  m[to + 9] = scale * 2 * (y * z + w * x);
  m[to + 10] = scale * (1 - 2 * (x * x + y * y));
}

async function fetched(address: string): Promise<Response> {
  const response = await fetch(address, { cache: "no-store" });
  if (!response.ok) throw new Error(`${address} could not be fetched (${response.status})`);
  return response;
}

let kept: { revision: number; mesh: Mesh } | null = null;

/** Fetch the rig and, where it is another character's, the mesh. */
export async function fetchRig(): Promise<RigModel> {
  const info = (await (await fetched("data/rig.json")).json()) as RigInfo;
  const base = new URL(`data/`, document.baseURI).href;
  const stamp = `${info.rig_revision}`;
  const [rig, frames] = (await Promise.all([
    import(/* @vite-ignore */ `${base}rig-${stamp}.js?${info.mesh_revision}`),
    import(/* @vite-ignore */ `${base}frames-${stamp}.js?${info.mesh_revision}`),
  ])) as [Program, Program];
  if (kept?.revision !== info.mesh_revision) {
    const mesh = readMesh(await (await fetched("data/mesh.bin")).arrayBuffer(), info);
    kept = { revision: info.mesh_revision, mesh };
  }
  return new RigModel(info, kept.mesh, rig, frames);
}

function readMesh(buffer: ArrayBuffer, info: RigInfo): Mesh {
  const [count, faces, influences] = new Uint32Array(buffer, 0, 3) as unknown as [number, number, number];
  let at = 12;
  const take = <T>(make: (buffer: ArrayBuffer, at: number, n: number) => T, n: number, bytes: number): T => {
    const made = make(buffer, at, n);
    at += n * bytes;
    return made;
  };
  const positions = take((b, o, n) => new Float32Array(b, o, n), 3 * count, 4);
  const normals = take((b, o, n) => new Float32Array(b, o, n), 3 * count, 4);
  const corner = take((b, o, n) => new Uint32Array(b, o, n), 3 * faces, 4);
  const joints = take((b, o, n) => new Uint16Array(b, o, n), influences * count, 2);
  const weights = take((b, o, n) => new Float32Array(b, o, n), influences * count, 4);
  const part = new Float32Array(count);
  info.parts.forEach((piece, number) => part.fill(number, piece.first, piece.first + piece.count));
  return { count, influences, positions, normals, faces: corner, joints, weights, part };
}

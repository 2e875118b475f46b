// Where the stage is seen from, and where a point of the world lies on it.
import * as THREE from "three";
import type { RigInfo } from "./messages";
import type { Vec2, Vec3 } from "./vector";
import { add, along, dot, scaled, sub } from "./vector";

const RAD = Math.PI / 180;

export class StageView {
  yaw = 38;
  pitch = 14;
  distance = 1;
  target: Vec3 = [0, 0, 0];
  width = 100;
  height = 100;
  readonly camera = new THREE.PerspectiveCamera(22, 1, 0.1, 100);
  private readonly toClip = new THREE.Matrix4();
  private axes: { left: Vec3; up: Vec3; forward: Vec3 } = { left: [1, 0, 0], up: [0, 1, 0], forward: [0, 0, 1] };

  /** Frame the legs, seen from ahead and to the left. */
  frame(info: RigInfo): void {
    const axes = { left: info.left as Vec3, up: info.up as Vec3, forward: info.forward as Vec3 };
    this.axes = axes;
    const legs = info.legs;
    const middle = scaled(legs.reduce<Vec3>((sum, leg) => add(sum, leg.landmarks.find((mark) => mark.name === "ankle")!.position as Vec3), [0, 0, 0]), 1 / legs.length);
    const ahead = Math.max(...legs.map((leg) => leg.foot_length));
    const tall = info.leg_length;
    this.yaw = 38;
    this.pitch = 14;
    const span = Math.max(1.85 * ahead, Math.min(1.5 * tall, 3.2 * ahead)); // the feet, and as much of the legs as fits
    this.target = along(axes.left, axes.up, axes.forward, dot(middle, axes.left), info.floor + 0.22 * span, dot(middle, axes.forward) + 0.3 * ahead);
    this.distance = span / (2 * Math.tan(0.5 * this.camera.fov * RAD));
  }

  resize(width: number, height: number): void {
    this.width = width;
    this.height = height;
  }

  update(): void {
    const { left, up, forward } = this.axes;
    const y = this.yaw * RAD;
    const p = this.pitch * RAD;
    const offset = along(left, up, forward, Math.sin(y) * Math.cos(p), Math.sin(p), Math.cos(y) * Math.cos(p));
    const eye = add(this.target, scaled(offset, this.distance));
    const c = this.camera;
    c.aspect = this.width / this.height;
    c.near = 0.05 * this.distance;
    c.far = 6 * this.distance;
    c.up.set(...up);
    c.position.set(...eye);
    c.lookAt(...this.target);
    c.updateProjectionMatrix();
    c.updateMatrixWorld();
    this.toClip.multiplyMatrices(c.projectionMatrix, c.matrixWorldInverse);
  }

  /** Pixels on the stage, y down. */
  project(p: Vec3): Vec2 {
    const m = this.toClip.elements;
    const w = m[3] * p[0] + m[7] * p[1] + m[11] * p[2] + m[15];
    const x = (m[0] * p[0] + m[4] * p[1] + m[8] * p[2] + m[12]) / w;
    const y = (m[1] * p[0] + m[5] * p[1] + m[9] * p[2] + m[13]) / w;
    return [(0.5 + 0.5 * x) * this.width, (0.5 - 0.5 * y) * this.height];
  }

  /** How much nearer to the eye a direction leads at a point: above 0 it faces the eye. */
  facing(p: Vec3, direction: Vec3): number {
    return dot(sub(this.camera.position.toArray() as Vec3, p), direction);
  }

  /** A move of the target that follows the hand by dx, dy pixels. */
  pan(dx: number, dy: number): void {
    const size = (2 * this.distance * Math.tan(0.5 * this.camera.fov * RAD)) / this.height;
    const e = this.camera.matrixWorld.elements;
    this.target = add(this.target, add(scaled([e[0], e[1], e[2]], -dx * size), scaled([e[4], e[5], e[6]], dy * size)));
  }

  /** Where the ray under a pixel meets the plane through `at` that faces the eye. */
  underPixel(x: number, y: number, at: Vec3): Vec3 {
    const eye = this.camera.position.toArray() as Vec3;
    const v = new THREE.Vector3((x / this.width) * 2 - 1, 1 - (y / this.height) * 2, 0.5).unproject(this.camera);
    const ray = sub(v.toArray() as Vec3, eye);
    const e = this.camera.matrixWorld.elements;
    const normal: Vec3 = [e[8], e[9], e[10]];
    const t = dot(sub(at, eye), normal) / dot(ray, normal);
    return add(eye, scaled(ray, t));
  }
}

/** Looks along `-toward` (a direction from the drawing to the eye), with `up` upward, at a box around `middle`. */
export function flatCamera(middle: Vec3, toward: Vec3, up: Vec3, width: number, height: number, depth: number): THREE.OrthographicCamera {
  const camera = new THREE.OrthographicCamera(-width / 2, width / 2, height / 2, -height / 2, 0, 4 * depth);
  camera.up.set(...up);
  camera.position.set(...add(middle, scaled(toward, 2 * depth)));
  camera.lookAt(...middle);
  camera.updateProjectionMatrix();
  camera.updateMatrixWorld();
  return camera;
}

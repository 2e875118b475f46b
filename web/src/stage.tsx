// The stage: the character in ink, the floor under it, controls and grips over it.
import { useEffect, useRef } from "preact/hooks";
import { bench } from "./bench";
import { StageView } from "./camera";
import { Ink } from "./ink";
import type { RigModel } from "./rigmodel";
import { drawFloor, drawMarks, drawOver, drawUnder, type Handle } from "./stagedrawing";
import { dragChannels, type Drawn, drawnShapes, gripPlace, gripsOf, grabbedPoint, nearestControl, posed } from "./shapes";
import { fillPieces } from "./pieces";
import { dragMark, dropMark, legOfMark, markPlace } from "./marks";
import { spoken } from "./words";
import type { Vec2, Vec3 } from "./vector";

const STILL_MS = 160;

export const view = new StageView();
export let ink: Ink | null = null;

/** What the stage shows, for tests and for other drawings: where controls and grips are, in pixels. */
export const shown: { shapes: Drawn[]; handles: Handle[]; marks: { name: string; at: Vec2 }[] } = { shapes: [], handles: [], marks: [] };

type Drag =
  | { kind: "turn"; x: number; y: number }
  | { kind: "pan"; x: number; y: number }
  | { kind: "control"; control: string; point: Vec3; offset: Vec2; at: Vec2; fineFrom: Vec2 | null }
  | { kind: "grip"; handle: Handle; offset: Vec2; at: Vec2; fineFrom: Vec2 | null }
  | { kind: "mark"; name: string; from: Vec3 };

export function Stage() {
  const box = useRef<HTMLDivElement>(null);
  const canvas = useRef<HTMLCanvasElement>(null);
  const under = useRef<SVGSVGElement>(null);
  const over = useRef<SVGSVGElement>(null);

  useEffect(() => {
    const drawing = new StageDrawing(box.current!, canvas.current!, under.current!, over.current!);
    return () => drawing.close();
  }, []);

  return (
    <div class="stage" ref={box} tabindex={0} data-drawing="stage" role="application" aria-label="The stage: the character with its controls. Arrow keys change the held value; question mark lists the keys.">
      <svg class="floor" aria-hidden="true" />
      <svg ref={under} aria-hidden="true" />
      <canvas ref={canvas} aria-hidden="true" />
      <svg ref={over} aria-hidden="true" />
    </div>
  );
}

class StageDrawing {
  private rig: RigModel | null = null;
  private drag: Drag | null = null;
  private still = 0;
  private touches = new Map<number, Vec2>();
  private ends: (() => void)[] = [];
  private firm = 1.7;
  private readonly floor: SVGSVGElement;
  private floorStamp = "";

  constructor(
    private readonly box: HTMLDivElement,
    canvas: HTMLCanvasElement,
    private readonly under: SVGSVGElement,
    private readonly over: SVGSVGElement,
  ) {
    ink = new Ink(canvas);
    this.floor = box.querySelector<SVGSVGElement>(".floor")!;
    const sized = new ResizeObserver(() => this.resize());
    sized.observe(box);
    this.ends.push(() => sized.disconnect());
    this.ends.push(bench.onPaint((moved) => this.paint(moved)));
    const on = <K extends keyof HTMLElementEventMap>(name: K, run: (event: HTMLElementEventMap[K]) => void): void => {
      const handler = (event: HTMLElementEventMap[K]): void => bench.timed(() => run(event));
      box.addEventListener(name, handler, { passive: false });
      this.ends.push(() => box.removeEventListener(name, handler));
    };
    on("pointerdown", (event) => this.down(event));
    on("pointermove", (event) => this.move(event));
    on("pointerup", (event) => this.up(event));
    on("pointercancel", (event) => this.up(event));
    on("pointerleave", () => this.hover(""));
    on("wheel", (event) => {
      event.preventDefault();
      view.distance *= Math.exp(Math.min(Math.max(event.deltaY, -200), 200) * 0.0015);
      bench.paint(true);
    });
    this.resize();
  }

  close(): void {
    for (const end of this.ends) end();
    window.clearTimeout(this.still);
  }

  private resize(): void {
    const { width, height } = this.box.getBoundingClientRect();
    if (!width || !height) return;
    view.resize(width, height);
    ink!.resize(width, height, Math.min(window.devicePixelRatio || 1, 2));
    for (const svg of [this.floor, this.under, this.over]) svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.firm = parseFloat(getComputedStyle(this.box).getPropertyValue("--w-firm")) || 1.7;
    bench.paint(true);
  }

  private paint(moved: boolean): void {
    const rig = bench.rig;
    if (!rig) {
      this.floor.innerHTML = this.under.innerHTML = "";
      this.floorStamp = "";
      this.over.innerHTML = "";
      return;
    }
    if (rig !== this.rig) {
      const other = this.rig?.mesh !== rig.mesh;
      if (other) {
        const legs = new Float32Array(rig.mesh.count);
        for (const leg of rig.info.legs) for (const vertex of leg.vertices) legs[vertex] = leg.side === "left" ? 1 : -1;
        ink!.takeMesh(rig.mesh, legs, rig.info, rig.info.height);
        fillPieces(ink!, rig);
        view.frame(rig.info);
      }
      this.rig = rig;
      moved = true;
    }
    if (moved) {
      view.update();
      rig.changes(bench.values, bench.changes);
      ink!.pose(bench.changes);
      this.render(false);
      window.clearTimeout(this.still);
      this.still = window.setTimeout(() => this.render(true), STILL_MS);
    }
    this.overlay(rig);
  }

  private render(engrave: boolean): void {
    if (!this.rig) return;
    ink!.pose(bench.changes);
    const side = bench.held.startsWith("left") ? 1 : bench.held.startsWith("right") ? 2 : 0;
    const wash: [number, number] = [side === 1 ? 0.75 : 0, side === 2 ? 0.75 : 0];
    ink!.draw({ camera: view.camera, width: view.width, height: view.height }, engrave, this.firm, wash);
    this.box.dataset.engraved = String(engrave);
  }

  private overlay(rig: RigModel): void {
    const frames = rig.controlFrames(bench.values);
    shown.shapes = drawnShapes(rig, frames, view);
    const measuring = bench.step === "measure";
    shown.handles = measuring
      ? []
      : gripsOf(rig, bench.held).map((grip) => ({ grip, at: view.project(gripPlace(grip, frames)) }));
    const stamp = JSON.stringify([view.yaw, view.pitch, view.distance, view.target, view.width, view.height, rig.info.rig_revision]);
    if (stamp !== this.floorStamp) {
      this.floor.innerHTML = drawFloor(rig, view); // it changes with the view alone
      this.floorStamp = stamp;
    }
    this.under.innerHTML = measuring ? "" : drawUnder(rig, view, shown.shapes);
    if (measuring) {
      const [text, marks] = drawMarks(rig, view);
      shown.marks = marks;
      this.over.innerHTML = text;
    } else {
      shown.marks = [];
      const grip = this.drag?.kind === "grip" ? this.drag.handle.grip.quantity : "";
      const steps = this.drag?.kind === "grip" && this.snap ? 5 : 0;
      this.over.innerHTML = drawOver(rig, view, shown.shapes, shown.handles, frames, grip, this.drag?.kind === "control", steps);
    }
  }

  // The hand.

  private snap = false;

  private at(event: PointerEvent): Vec2 {
    const box = this.box.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  private hover(control: string): void {
    if (bench.hover === control) return;
    bench.hover = control;
    this.box.style.cursor = control ? "grab" : "";
    bench.paint(false);
  }

  private down(event: PointerEvent): void {
    if (!this.rig) return;
    const [x, y] = this.at(event);
    this.touches.set(event.pointerId, [x, y]);
    this.box.setPointerCapture(event.pointerId);
    this.box.focus({ preventScroll: true });
    if (this.touches.size > 1 || event.button === 1 || event.button === 2) {
      this.drag = { kind: "pan", x, y };
      event.preventDefault();
      return;
    }
    const mark = nearest(shown.marks, x, y);
    if (mark) {
      bench.mark = mark.name;
      bench.hold(`${legOfMark(this.rig, mark.name)}.foot`);
      this.drag = { kind: "mark", name: mark.name, from: markPlace(this.rig, mark.name) };
      bench.dragging = true;
      return;
    }
    const handle = nearest(shown.handles, x, y);
    if (handle) {
      bench.hold(handle.grip.control, handle.grip.quantity);
      this.drag = { kind: "grip", handle, offset: [handle.at[0] - x, handle.at[1] - y], at: [x, y], fineFrom: null };
      bench.dragging = true;
      return;
    }
    const control = bench.step === "measure" ? "" : nearestControl(shown.shapes, x, y);
    const point = control ? grabbedPoint(this.rig, shown.shapes, control, x, y) : null;
    if (point) {
      bench.hold(control);
      const [px, py] = view.project(posed(this.rig, control, bench.values, point));
      this.drag = { kind: "control", control, point, offset: [px - x, py - y], at: [x, y], fineFrom: null };
      bench.dragging = true;
      bench.paint(true);
      return;
    }
    this.drag = { kind: "turn", x, y };
  }

  private move(event: PointerEvent): void {
    const rig = this.rig;
    if (!rig) return;
    const [x, y] = this.at(event);
    const drag = this.drag;
    if (this.touches.has(event.pointerId)) this.touches.set(event.pointerId, [x, y]);
    if (!drag) {
      const handle = nearest(shown.handles, x, y);
      const mark = nearest(shown.marks, x, y);
      this.hover(handle ? `${handle.grip.control} ${handle.grip.quantity}` : mark ? mark.name : bench.step === "measure" ? "" : nearestControl(shown.shapes, x, y));
      return;
    }
    if (drag.kind === "turn") {
      view.yaw -= (x - drag.x) * 0.4;
      view.pitch = Math.min(Math.max(view.pitch + (y - drag.y) * 0.3, 1), 85);
      [drag.x, drag.y] = [x, y];
      bench.paint(true);
      return;
    }
    if (drag.kind === "pan") {
      view.pan(x - drag.x, y - drag.y);
      [drag.x, drag.y] = [x, y];
      bench.paint(true);
      return;
    }
    if (drag.kind === "mark") {
      dragMark(drag.name, view.underPixel(x, y, drag.from));
      return;
    }
    this.snap = event.ctrlKey || event.metaKey;
    drag.at = [x, y];
    if (event.shiftKey) drag.fineFrom ??= [x, y];
    else drag.fineFrom = null;
    const fine = drag.fineFrom;
    const hand: Vec2 = fine ? [fine[0] + 0.1 * (x - fine[0]), fine[1] + 0.1 * (y - fine[1])] : [x, y];
    const goal: Vec2 = [hand[0] + drag.offset[0], hand[1] + drag.offset[1]];
    if (drag.kind === "control") {
      const channels = dragChannels(rig, drag.control, bench.values, view, drag.point);
      bench.bring(channels, (values) => missed(view.project(posed(rig, drag.control, values, drag.point)), goal), this.snap);
      if (channels[0] && !channels.some((channel) => channel.quantity === bench.quantity)) bench.quantity = channels[0].quantity;
    } else {
      const grip = drag.handle.grip;
      const channel = bench.channel(`${grip.control}.${grip.quantity}`);
      if (channel) bench.bring([channel], (values) => missed(view.project(gripPlace(grip, rig.controlFrames(values))), goal), this.snap);
    }
    bench.tell();
  }

  private up(event: PointerEvent): void {
    const drag = this.drag;
    this.touches.delete(event.pointerId);
    this.drag = null;
    if (!drag || drag.kind === "turn" || drag.kind === "pan") return;
    bench.dragging = false;
    if (drag.kind === "mark") {
      dropMark();
      return;
    }
    const control = drag.kind === "control" ? drag.control : drag.handle.grip.control;
    const what = drag.kind === "grip" ? drag.handle.grip.quantity : "move";
    const now = bench.rig!.pose(bench.values);
    if (JSON.stringify(now) !== JSON.stringify(bench.state!.pose) || bench.step === "move") bench.commit(`${what}, ${spoken(control)}`, [control]);
    bench.tell();
  }
}

const missed = (p: Vec2, goal: Vec2): number[] => [p[0] - goal[0], p[1] - goal[1]];

function nearest<T extends { at: Vec2 }>(things: readonly T[], x: number, y: number, reach = 15): T | null {
  let best: T | null = null;
  let least = reach;
  for (const thing of things) {
    const away = Math.hypot(thing.at[0] - x, thing.at[1] - y);
    if (away < least) [least, best] = [away, thing];
  }
  return best;
}

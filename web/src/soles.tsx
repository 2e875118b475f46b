// Both soles from below, to one scale: a map of their height over the floor, or landmarks to drag while measuring.
import { useEffect, useRef, useState } from "preact/hooks";
import { bench } from "./bench";
import { flatCamera } from "./camera";
import { dragMark, dropMark, moving, writeMark } from "./marks";
import type { LandmarkInfo } from "./messages";
import { ink } from "./stage";
import { type Sheet, Sole, soleWords } from "./solemap";
import { useBench } from "./use";
import { letter, sizeWords } from "./words";
import type { Vec2, Vec3 } from "./vector";
import { add, scaled } from "./vector";

const MAP_MS = 60;
const ON_SOLE = ["heel", "tip", "inner", "outer", "ball"];

/** What the maps say, for tests. */
export const soleState: { soles: Sole[]; sheets: Record<string, Sheet> } = { soles: [], sheets: {} };

export function Soles({ small }: { small?: boolean }) {
  const b = useBench();
  const box = useRef<HTMLDivElement>(null);
  const canvas = useRef<HTMLCanvasElement>(null);
  const [size, setSize] = useState<[number, number]>([0, 0]);
  const rig = b.rig;

  useEffect(() => {
    const sized = new ResizeObserver(() => {
      const { width, height } = box.current?.getBoundingClientRect() ?? { width: 0, height: 0 };
      setSize([width, height]);
    });
    sized.observe(box.current!);
    return () => sized.disconnect();
  }, []);

  const [width, height] = size;
  if (rig && soleState.soles[0]?.rig !== rig) soleState.soles = rig.info.legs.map((leg) => new Sole(rig, leg));
  const soles = rig ? soleState.soles : [];
  // Two legs stand side by side as in the front view; more stand in pairs, the hind ones below.
  const ordered = [...soles].sort((p, q) => (p.leg.side === "right" ? 0 : 1) - (q.leg.side === "right" ? 0 : 1));
  const rows = Math.max(Math.ceil(ordered.length / 2), 1);
  const wide = Math.max(...ordered.map((sole) => sole.bounds.left - sole.bounds.right), 1e-9);
  const long = Math.max(...ordered.map((sole) => sole.bounds.front - sole.bounds.back), 1e-9);
  const gap = 34;
  const margin = 14;
  const scale = Math.min((width - gap - 2 * margin) / (2.08 * wide), (height - 2 * margin) / rows / (1.12 * long));
  const sheets: Record<string, Sheet> = {};
  ordered.forEach((sole, n) => {
    const column = sole.leg.side === "right" ? 0 : 1;
    const row = rows === 1 ? 0 : Math.floor(n / 2) % rows;
    const centre = width / 2 + (column ? 1 : -1) * (gap / 2 + 0.52 * wide * scale);
    const middle = (row + 0.5) * (height / rows);
    sheets[sole.leg.name] = {
      scale,
      x: centre - (scale * (sole.bounds.left + sole.bounds.right)) / 2,
      y: middle + (scale * (sole.bounds.front + sole.bounds.back)) / 2,
    };
  });
  soleState.sheets = sheets;

  useEffect(() => {
    if (!rig || scale <= 0 || !canvas.current) return;
    const g = canvas.current.getContext("2d")!;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    canvas.current.width = Math.round(width * ratio);
    canvas.current.height = Math.round(height * ratio);
    const style = getComputedStyle(canvas.current);
    const colour = (name: string): string => style.getPropertyValue(name).trim();
    const sink = crossHatch(g, colour("--short"), ratio);
    let pictures: Record<string, HTMLCanvasElement> | null = null;
    let last = 0;
    let timer = 0;
    const draw = (): void => {
      last = performance.now();
      if (!pictures && ink && width > 40) pictures = solePictures(rig.defaults, soles, sheets, scale, ratio);
      g.setTransform(ratio, 0, 0, ratio, 0, 0);
      g.clearRect(0, 0, width, height);
      for (const sole of soles) {
        const sheet = sheets[sole.leg.name]!;
        const picture = pictures?.[sole.leg.name];
        const { left, right, back, front } = sole.bounds;
        sole.update(bench.changes);
        if (picture) {
          g.globalAlpha = bench.step === "measure" ? 0.5 : 1;
          g.drawImage(picture, sheet.x + scale * right, sheet.y - scale * front, scale * (left - right), scale * (front - back));
          g.globalAlpha = 1;
        }
        if (bench.step !== "measure") {
          g.globalCompositeOperation = "multiply";
          sole.draw(g, sheet, { touch: colour(`--${sole.leg.side}-wash`), line: colour("--ink-2"), sink }, rig.info.touches);
          g.globalCompositeOperation = "source-over";
        }
      }
      for (const sole of soles) {
        const words = document.getElementById(`sole-words-${sole.leg.name}`);
        if (!words) continue;
        const reading = sole.reading();
        const [one, two] = bench.step === "measure" ? measured(sole) : soleWords(reading, rig.info);
        const short = bench.step !== "measure" && reading.deepest < -rig.info.touches;
        words.innerHTML = `<span class="${short ? "short" : ""}">${one}</span><br><span class="quiet">${two}</span>`;
      }
    };
    const measured = (sole: Sole): [string, string] => {
      const hand = sole.leg.landmarks.filter((mark) => mark.by_hand).map((mark) => mark.name);
      return [`length ${sizeWords(sole.leg.foot_length, rig.info.mm)}`, hand.length ? `${hand.join(", ")} by hand` : `breadth ${sizeWords(sole.leg.breadth, rig.info.mm)}`];
    };
    draw();
    const off = bench.onPaint((moved) => {
      if (!moved) return;
      window.clearTimeout(timer);
      const wait = MAP_MS - (performance.now() - last);
      timer = window.setTimeout(draw, Math.max(wait, 0));
    });
    return () => {
      off();
      window.clearTimeout(timer);
    };
  }, [rig, width, height, b.step]);

  const ratioWords = rig && scale > 0 ? scaleWords(scale, rig.info.mm) : "";
  return (
    <section class={`soles${small ? " small" : ""}`} aria-label="The soles">
      <h2>
        The soles <em>from below{ratioWords}{b.step === "measure" ? "; drag a mark" : ""}</em>
      </h2>
      <div class="sole-sheet" ref={box}>
        <canvas ref={canvas} aria-hidden="true" style={{ width: `${width}px`, height: `${height}px` }} />
        <svg width={width} height={height} data-drawing="soles" role="group" aria-label="Soles from below">
          {ordered.map((sole) => (
            <SoleOverlay key={sole.leg.name} sole={sole} sheet={sheets[sole.leg.name]!} />
          ))}
        </svg>
      </div>
      <div class="sole-words">
        {ordered.map((sole) => (
          <div key={sole.leg.name}>
            <b class={`big-letter ${sole.leg.side}`}>{letter(sole.leg.side)}</b>
            <p id={`sole-words-${sole.leg.name}`} />
          </div>
        ))}
      </div>
      {b.step !== "measure" && !small && (
        <p class="legend note">
          <i class="touch" /> touches <i class="hover" /> hovers, a line each {rig?.info.mm === false ? "step" : "10 mm"} <i class="sink" /> sinks
        </p>
      )}
    </section>
  );
}

function SoleOverlay({ sole, sheet }: { sole: Sole; sheet: Sheet }) {
  const b = bench;
  const at = (p: Vec3): Vec2 => {
    const [x, z] = sole.planOf(p);
    return [sheet.x + sheet.scale * x, sheet.y - sheet.scale * z];
  };
  const side = sole.leg.side;
  const line = (points: Vec2[]): string => points.map((p, i) => `${i ? "L" : "M"}${p[0].toFixed(1)} ${p[1].toFixed(1)}`).join("");
  const shape = sole.rig.info.shapes.find((one) => one.control === `${sole.leg.name}.foot`);
  const held = b.held.startsWith(`${sole.leg.name}.`);
  const measuring = b.step === "measure";
  const marks = sole.leg.landmarks.filter((mark) => ON_SOLE.includes(mark.name));
  const where = (mark: LandmarkInfo): Vec2 => at((moving.name === `${sole.leg.name}.${mark.name}` && moving.point) || (mark.position as Vec3));
  const find = (name: string): LandmarkInfo | undefined => marks.find((mark) => mark.name === name);
  return (
    <g>
      {shape?.polylines.map((points, i) => (
        <path key={i} class={`${side === "left" ? "cl" : "cr"}${held ? " held" : " thin"}`} d={line(points.map((p) => at(p as Vec3)))} />
      ))}
      {measuring && find("heel") && find("tip") && <path class={`axis ${side}`} d={line([where(find("heel")!), where(find("tip")!)])} />}
      {measuring && find("inner") && find("outer") && <path class={`axis ${side}`} d={line([where(find("inner")!), where(find("outer")!)])} />}
      {measuring && marks.map((mark) => <Mark key={mark.name} sole={sole} mark={mark} at={where(mark)} measured={mark.by_hand && mark.measured ? at(mark.measured as Vec3) : null} sheet={sheet} />)}
    </g>
  );
}

function Mark({ sole, mark, at, measured, sheet }: { sole: Sole; mark: LandmarkInfo; at: Vec2; measured: Vec2 | null; sheet: Sheet }) {
  const name = `${sole.leg.name}.${mark.name}`;
  const chosen = bench.mark === name;
  const side = sole.leg.side;
  // A mark moves in the sole's plane; how far it lies over or under the sole it keeps.
  const point = (across: number, ahead: number): Vec3 => {
    const [x0, z0] = sole.planOf(mark.position as Vec3);
    return add(mark.position as Vec3, add(scaled(sole.left, across - x0), scaled(sole.leg.axis as Vec3, ahead - z0)));
  };
  const choose = (): void => {
    bench.mark = name;
    bench.hold(`${sole.leg.name}.foot`);
  };
  const down = (event: PointerEvent): void => {
    const target = event.currentTarget as SVGGElement;
    const box = target.ownerSVGElement!.getBoundingClientRect();
    target.setPointerCapture(event.pointerId);
    choose();
    bench.dragging = true;
    const offset: Vec2 = [at[0] - (event.clientX - box.left), at[1] - (event.clientY - box.top)];
    const start: Vec2 = [event.clientX, event.clientY];
    const move = (e: PointerEvent): void => {
      const fine = e.shiftKey ? 0.1 : 1;
      const px = start[0] - box.left + offset[0] + fine * (e.clientX - start[0]);
      const py = start[1] - box.top + offset[1] + fine * (e.clientY - start[1]);
      dragMark(name, point((px - sheet.x) / sheet.scale, (sheet.y - py) / sheet.scale));
    };
    const up = (): void => {
      target.removeEventListener("pointermove", move);
      target.removeEventListener("pointerup", up);
      bench.dragging = false;
      dropMark();
    };
    target.addEventListener("pointermove", move);
    target.addEventListener("pointerup", up);
    event.preventDefault();
    target.focus();
  };
  const key = (event: KeyboardEvent): void => {
    const arrows: Record<string, Vec2> = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };
    const arrow = arrows[event.key];
    if (event.key === "Backspace" && mark.by_hand) {
      event.preventDefault();
      event.stopPropagation();
      void writeMark(name, null);
    }
    if (!arrow) return;
    event.preventDefault();
    event.stopPropagation();
    const step = (sole.rig.info.mm ? 0.001 : 0.003 * sole.leg.foot_length) * (event.shiftKey ? 0.1 : event.ctrlKey ? 10 : 1);
    const [x, z] = sole.planOf(((moving.name === name && moving.point) || mark.position) as Vec3);
    dragMark(name, point(x + step * arrow[0], z + step * arrow[1]));
    window.clearTimeout(settle);
    settle = window.setTimeout(dropMark, 500);
  };
  const shift = measured && `${sizeWords(Math.hypot(at[0] - measured[0], at[1] - measured[1]) / sheet.scale, sole.rig.info.mm)} from measured`;
  const right = at[0] > sheet.x;
  return (
    <g
      class="mark" tabindex={0} role="button" data-drawing="mark" data-mark={name}
      aria-label={`${sole.leg.name} ${mark.name}${mark.by_hand ? ", by hand" : `, ${Math.round(100 * mark.confidence)} % sure`}; arrows move it${mark.by_hand ? ", Backspace returns it to where it was measured" : ""}`}
      onPointerDown={down} onKeyDown={key} onFocus={choose}
    >
      {measured && <circle class="rest" cx={measured[0]} cy={measured[1]} r={6} />}
      {measured && <path class="rest" d={`M${measured[0]} ${measured[1]}L${at[0]} ${at[1]}`} />}
      <circle class="hit" cx={at[0]} cy={at[1]} r={16} />
      <circle class={`grip ${side}${chosen ? " active" : ""}`} cx={at[0]} cy={at[1]} r={chosen ? 7.5 : 5.5} />
      <circle class={`dot ${side}`} cx={at[0]} cy={at[1]} r={1.8} />
      <text x={at[0] + (right ? -10 : 10)} y={at[1] - 8} class={`mark-name ${chosen ? side : ""} ${right ? "end" : ""}`}>
        {mark.name}
      </text>
      {shift && <text x={at[0] + (right ? -10 : 10)} y={at[1] + 17} class={`note ${right ? "end" : ""}`}>{shift}</text>}
    </g>
  );
}

let settle = 0;

/** The soles as ink drawings, from below, at rest. */
function solePictures(rest: Float64Array, soles: readonly Sole[], sheets: Record<string, Sheet>, scale: number, ratio: number): Record<string, HTMLCanvasElement> {
  const found: Record<string, HTMLCanvasElement> = {};
  if (!ink || !soles[0]) return found;
  const rig = soles[0].rig;
  const still = new Float32Array(bench.changes.length);
  rig.changes(rest, still);
  ink.pose(still);
  for (const sole of soles) {
    if (!sheets[sole.leg.name]) continue;
    const { left, right, back, front } = sole.bounds;
    const middle = sole.worldOf((left + right) / 2, (back + front) / 2);
    const camera = flatCamera(middle, scaled(sole.leg.sole_normal as Vec3, -1), sole.leg.axis as Vec3, left - right, front - back, 2 * sole.leg.foot_length);
    found[sole.leg.name] = asCanvas(ink.picture(`${sole.leg.name}.sole`, { camera, width: scale * (left - right) * ratio, height: scale * (front - back) * ratio }, 0.8 * ratio, 1));
  }
  ink.pose(bench.changes);
  bench.paint(true);
  return found;
}

export function asCanvas(data: ImageData): HTMLCanvasElement {
  const canvas = document.createElement("canvas");
  canvas.width = data.width;
  canvas.height = data.height;
  canvas.getContext("2d")!.putImageData(data, 0, 0);
  return canvas;
}

function crossHatch(g: CanvasRenderingContext2D, colour: string, ratio: number): CanvasPattern | string {
  const tile = document.createElement("canvas");
  const n = Math.round(6 * ratio);
  tile.width = tile.height = n;
  const t = tile.getContext("2d")!;
  t.strokeStyle = colour;
  t.lineWidth = 1.1 * ratio;
  t.beginPath();
  for (const [a, b, c, d] of [[0, n, n, 0], [0, 0, n, n], [-1, 1, 1, -1], [n - 1, n + 1, n + 1, n - 1], [-1, n - 1, 1, n + 1], [n - 1, -1, n + 1, 1]] as const) {
    t.moveTo(a, b);
    t.lineTo(c, d);
  }
  t.stroke();
  const pattern = g.createPattern(tile, "repeat");
  pattern?.setTransform(new DOMMatrix().scale(1 / ratio));
  return pattern ?? colour;
}

/** Of a drawing at 96 pixels an inch. */
const scaleWords = (scale: number, mm: boolean): string => (mm ? `, 1 : ${(96 / 0.0254 / scale).toFixed(1)}` : "");

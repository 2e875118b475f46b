// The rocker: the held foot's roll as one line; drag along it and the foot rolls.
import { useEffect, useRef, useState } from "preact/hooks";
import { bench } from "./bench";
import { flatCamera } from "./camera";
import type { LegInfo } from "./messages";
import type { RigModel } from "./rigmodel";
import { fitRocker, rollAt, type Rocker, spot, stretch } from "./rocker";
import { footAxes, place } from "./shapes";
import { asCanvas } from "./soles";
import { ink } from "./stage";
import { useBench } from "./use";
import { fixed, spoken } from "./words";
import type { Vec3 } from "./vector";
import { add, cross, scaled } from "./vector";

const LIVE_MS = 120;

export function heldLeg(): LegInfo | undefined {
  return bench.rig?.legOf(bench.held) ?? bench.rig?.info.legs[0];
}

export function RockerView() {
  const b = useBench();
  const box = useRef<HTMLDivElement>(null);
  const [[width, height], setSize] = useState<[number, number]>([0, 0]);
  useEffect(() => {
    const sized = new ResizeObserver(() => {
      const r = box.current?.getBoundingClientRect();
      if (!r) return;
      setSize([r.width, r.height]);
    });
    sized.observe(box.current!);
    return () => sized.disconnect();
  }, []);
  const leg = heldLeg();
  const channel = leg && b.channel(`${leg.name}.foot.roll`);
  return (
    <section class="rocker" aria-label="The rocker">
      <div class="rocker-head">
        <h2>The rocker</h2>
        <p class="caption">{leg ? `${leg.side} foot, its own profile` : ""}</p>
      </div>
      <div class="rocker-sheet" ref={box}>
        {b.rig && leg && channel && width > 0 && <RockerDrawing rig={b.rig} leg={leg} low={channel.low} high={channel.high} width={width} height={height} />}
      </div>
    </section>
  );
}

function RockerDrawing({ rig, leg, low, high, width, height }: { rig: RigModel; leg: LegInfo; low: number; high: number; width: number; height: number }) {
  const name = `${leg.name}.foot.roll`;
  const roll = bench.value(name);
  const rocker = fitRocker(low, high, 24, width - 34, height - (height > 220 ? 84 : 66), 0.07);
  const here = spot(rocker, roll);
  const side = leg.side;
  const size = pictureSize(rocker, height);
  const stops = stopsOf(leg, low, high).filter((stop) => spot(rocker, stop).y > 0.8 * size); // none stands over the sheet's edge
  const finding = bench.step === "prove" ? bench.state?.proof?.findings.find((one) => one.check === bench.check) : undefined;

  const set = (event: PointerEvent): void => {
    const svg = (event.currentTarget as Element).closest("svg")!;
    const x = event.clientX - svg.getBoundingClientRect().left;
    let value = rollAt(rocker, x);
    if (event.ctrlKey || event.metaKey) value = Math.round(value / 5) * 5;
    if (event.shiftKey) value = start.value + 0.1 * (value - start.at);
    bench.set(name, value, false);
  };
  const down = (event: PointerEvent): void => {
    const target = event.currentTarget as SVGElement;
    target.setPointerCapture(event.pointerId);
    bench.hold(`${leg.name}.foot`, "roll");
    bench.dragging = true;
    const svg = target.closest("svg")!;
    start.value = roll;
    start.at = rollAt(rocker, event.clientX - svg.getBoundingClientRect().left);
    const move = (e: PointerEvent): void => bench.timed(() => set(e));
    const up = (): void => {
      target.removeEventListener("pointermove", move);
      target.removeEventListener("pointerup", up);
      bench.dragging = false;
      bench.commit(`roll, ${spoken(`${leg.name}.foot`)}`, [`${leg.name}.foot`]);
    };
    target.addEventListener("pointermove", move);
    target.addEventListener("pointerup", up);
    bench.timed(() => set(event));
    target.querySelector<SVGElement>("[role=slider]")?.focus();
    event.preventDefault();
  };

  return (
    <>
      {stops.map((stop) => <FootPicture key={stop} rig={rig} leg={leg} roll={stop} rocker={rocker} size={size} live={false} quiet={Math.abs(spot(rocker, stop).x - here.x) < 0.62 * size} />)}
      <FootPicture rig={rig} leg={leg} roll={roll} rocker={rocker} size={1.25 * size} live quiet={false} />
      <svg width={width} height={height} data-drawing="rocker">
        <path class="firm" d={stretch(rocker, low, high)} />
        <path class="fine" d={`M${rocker.x - rocker.flat / 2} ${rocker.y + 5}h${rocker.flat}m0 -4v8m${-rocker.flat} 0v-8`} />
        {ticks(low, high).map((at) => {
          const p = spot(rocker, at);
          const n: [number, number] = [Math.sin(p.slope), Math.cos(p.slope)];
          const long = at % 10 === 0;
          return (
            <g key={at}>
              <path class="rule" d={`M${p.x} ${p.y}l${n[0] * (long ? 9 : 5)} ${n[1] * (long ? 9 : 5)}`} />
              {long && <text class="note mid" x={p.x + n[0] * 22} y={p.y + n[1] * 22 + 4}>{fixed(at, 0)}</text>}
            </g>
          );
        })}
        {finding && <ProofCurve rocker={rocker} x={finding.curve_x} y={finding.curve_y} allowed={finding.curve_allowance} words={`${finding.what}, ${finding.figure}`} short={finding.verdict === "falls short"} />}
        {roll !== 0 && <path class={`${side === "left" ? "cl" : "cr"} grab solid`} d={stretch(rocker, 0, roll)} />}
        <g onPointerDown={down} class="rocker-hit">
          <path d={stretch(rocker, low, high)} />
          <circle
            class={`bead ${side}`} cx={here.x} cy={here.y} r={10} tabindex={0} role="slider" aria-label={`roll, ${leg.name} foot`} aria-valuemin={low}
            aria-valuemax={high} aria-valuenow={Number(roll.toFixed(1))} aria-valuetext={`${fixed(roll, 1)} degrees`} data-drawing="rocker"
            onFocus={() => bench.hold(`${leg.name}.foot`, "roll")}
          />
          <circle class={`dot ${side}`} cx={here.x} cy={here.y} r={3.5} />
        </g>
        {leg.has_toes && <Tuning rocker={rocker} leg={leg} number="ball_gives_out_deg" words="ball gives out" at={leg.ball_gives_out_deg} hand={leg.ball_by_hand} />}
        {leg.has_toes && <Tuning rocker={rocker} leg={leg} number="tip_takes_over_deg" words="tip takes over" at={leg.tip_takes_over_deg} hand={leg.tip_by_hand} />}
      </svg>
    </>
  );
}

const start = { value: 0, at: 0 };

const ticks = (low: number, high: number): number[] => {
  const found: number[] = [];
  for (let at = Math.ceil(low / 5) * 5; at <= high + 1e-9; at += 5) found.push(at);
  return found;
};

function stopsOf(leg: LegInfo, low: number, high: number): number[] {
  const stops = leg.has_toes ? [0.75 * low, 0, 0.55 * leg.ball_gives_out_deg, (leg.ball_gives_out_deg + leg.tip_takes_over_deg) / 2, (2 * leg.tip_takes_over_deg + high) / 3] : [0.75 * low, 0, high / 3, high / 1.4];
  return stops.map((stop) => Math.round(Math.min(Math.max(stop, low), high)));
}

const pictureSize = (rocker: Rocker, height: number): number => Math.min(0.16 * (rocker.high - rocker.low) * rocker.rate, 0.5 * height);

/** A wedge under the line that a person can move: where the ball gives out, where the tip takes over. */
function Tuning({ rocker, leg, number, words, at, hand }: { rocker: Rocker; leg: LegInfo; number: "ball_gives_out_deg" | "tip_takes_over_deg"; words: string; at: number; hand: boolean }) {
  const [moved, setMoved] = useState<number | null>(null);
  useEffect(() => setMoved(null), [at]);
  const value = moved ?? at;
  const p = spot(rocker, value);
  const bounded = (wish: number): number =>
    number === "ball_gives_out_deg" ? Math.min(Math.max(wish, 5), leg.tip_takes_over_deg - 1) : Math.min(Math.max(wish, leg.ball_gives_out_deg + 1), Math.min(rocker.high, 120));
  const write = (wish: number | null): void => void bench.ask({ kind: "set_tuned", leg: leg.name, number, value: wish }, `${words}: building`);
  const down = (event: PointerEvent): void => {
    const target = event.currentTarget as SVGElement;
    target.setPointerCapture(event.pointerId);
    const left = target.ownerSVGElement!.getBoundingClientRect().left;
    let wish = value;
    const move = (e: PointerEvent): void => {
      wish = bounded(Math.round(rollAt(rocker, e.clientX - left) * 2) / 2);
      setMoved(wish);
    };
    const up = (): void => {
      target.removeEventListener("pointermove", move);
      target.removeEventListener("pointerup", up);
      if (wish !== at) write(wish);
    };
    target.addEventListener("pointermove", move);
    target.addEventListener("pointerup", up);
    event.preventDefault();
    target.focus();
  };
  const key = (event: KeyboardEvent): void => {
    const sign = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
    if (event.key === "Backspace" && hand) write(null);
    else if (sign) {
      const wish = bounded(value + sign * (event.shiftKey ? 0.1 : event.ctrlKey ? 10 : 1));
      setMoved(wish);
      window.clearTimeout(later);
      later = window.setTimeout(() => write(wish), 500);
    } else return;
    event.preventDefault();
    event.stopPropagation();
  };
  const size = rocker.y > 160 ? 17 : 14; // words keep to a lane of their own, under the numbers of the line
  return (
    <g class="wedge" tabindex={0} role="slider" aria-label={`${words}, ${leg.name} foot`} aria-valuenow={value} aria-valuemin={rocker.low} aria-valuemax={rocker.high} aria-valuetext={`${fixed(value, 1)} degrees${hand ? ", by hand" : ""}`} data-tuning={number} onPointerDown={down} onKeyDown={key}>
      <rect class="hit" x={p.x - 16} y={p.y + 2} width={32} height={4.2 * size} />
      <path class="fi" d={`M${p.x} ${p.y + 12}l5 9h-10z`} />
      <text class="mid" x={p.x} y={p.y + 26 + size}>{words}</text>
      <text class={`mid strong${hand ? " by-hand" : ""}`} x={p.x} y={p.y + 26 + 2.15 * size}>{fixed(value, Number.isInteger(value) ? 0 : 1)}°</text>
    </g>
  );
}

let later = 0;

/** A check's figure over the roll, above the line, with what is allowed. */
function ProofCurve({ rocker, x, y, allowed, words, short }: { rocker: Rocker; x: number[]; y: number[]; allowed: number | null; words: string; short: boolean }) {
  if (x.length < 2 || Math.min(...x) < rocker.low - 40 || Math.max(...x) > rocker.high + 40) return null;
  const most = Math.max(...y.map(Math.abs), allowed ?? 0) || 1;
  const inside = x.map((at, i) => [at, Math.abs(y[i]!)] as const).filter(([at]) => at >= rocker.low && at <= rocker.high);
  const lift = (at: number, value: number): string => {
    const p = spot(rocker, at);
    const h = (46 * value) / most;
    return `${(p.x - Math.sin(p.slope) * h).toFixed(1)} ${(p.y - Math.cos(p.slope) * h).toFixed(1)}`;
  };
  const top = inside.map(([at, value], i) => `${i ? "L" : "M"}${lift(at, value)}`).join("");
  const back = [...inside].reverse().map(([at]) => `L${lift(at, 0)}`).join("");
  return (
    <g class={short ? "proof short" : "proof"}>
      <path class="proof-area" d={`${top}${back}Z`} />
      <path class="proof-line" d={top} />
      {allowed !== null && <path class="allowed" d={inside.map(([at], i) => `${i ? "L" : "M"}${lift(at, allowed)}`).join("")} />}
      <text class="note" x={spot(rocker, rocker.low).x + 8} y={rocker.y + 46}>{words}</text>
    </g>
  );
}

function FootPicture({ rig, leg, roll, rocker, size, live, quiet }: { rig: RigModel; leg: LegInfo; roll: number; rocker: Rocker; size: number; live: boolean; quiet: boolean }) {
  const box = useRef<HTMLDivElement>(null);
  const here = spot(rocker, roll);
  const stamp = `${rig.info.rig_revision} ${rig.info.mesh_revision} ${leg.name} ${roll.toFixed(2)} ${size.toFixed(0)}`;
  useEffect(() => {
    let timer = 0;
    const draw = (): void => {
      if (!ink || !box.current) return;
      const values = rig.defaults.slice();
      values[rig.index.get(`${leg.name}.foot.roll`)!] = roll;
      const changes = new Float32Array(bench.changes.length);
      rig.changes(values, changes);
      ink.pose(changes);
      const { up, ahead } = footAxes(leg);
      const span = 1.5 * leg.foot_length;
      const middle = add(place(leg, "heel"), add(scaled(ahead, 0.5 * leg.foot_length), scaled(up, 0.42 * leg.foot_length)));
      const ratio = Math.min(window.devicePixelRatio || 1, 2);
      const camera = flatCamera(middle, cross(ahead, up) as Vec3, up, span, span, 3 * leg.foot_length);
      const picture = asCanvas(ink.picture(leg.name, { camera, width: size * ratio, height: size * ratio }, (live ? 1 : 0.7) * ratio, live ? 0 : 1));
      ink.pose(bench.changes);
      box.current.replaceChildren(picture);
    };
    timer = window.setTimeout(draw, live ? LIVE_MS : 0);
    return () => window.clearTimeout(timer);
  }, [stamp]);
  // The picture's floor lies at 0.22 of its height over its lower edge: (0.75 - 0.42) / 1.5.
  return <div ref={box} class={`foot-picture${live ? " live" : ""}`} aria-hidden="true" style={{ left: `${here.x - size / 2}px`, top: `${here.y - size * 0.78}px`, width: `${size}px`, height: `${size}px`, opacity: quiet ? 0 : 1, transform: `rotate(${-here.slope}rad)`, transformOrigin: "50% 78%" }} />;
}

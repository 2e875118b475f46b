// Move: a score with a staff for each foot, keys as stitches on each control's thread, a plumb line that is now.
import { useEffect, useRef, useState } from "preact/hooks";
import { bench } from "./bench";
import type { Score } from "./messages";
import { frameTime, withKey } from "./score";
import { useBench } from "./use";
import { capital, fixed, letter, sideOf, sizeWords, spoken } from "./words";

const PARTS = ["tip", "ball", "heel"] as const;

export function Move() {
  const b = useBench();
  const score = b.state?.score;
  return (
    <section class="score" aria-label="The score">
      <div class="score-head">
        <h2 class="title">{score ? capital(score.name) : "No score yet"}</h2>
        <p class="caption">
          {score ? `${Math.round(score.duration_s * score.rate)} frames, ${fixed(score.rate, 0)} a second` : "take an exercise, or begin an empty one"}
        </p>
        <p class="acts">
          <label class="note">
            exercise{" "}
            <select value="" onChange={(event) => { const name = (event.target as HTMLSelectElement).value; if (name) void bench.ask({ kind: "take_exercise", name }); }}>
              <option value="">choose</option>
              {b.state?.exercises.map((name) => <option key={name} value={name}>{name}</option>)}
            </select>
          </label>
          <button class="act" onClick={() => void bench.ask({ kind: "set_score", what: "an empty score", score: { name: "motion", rate: 30, duration_s: 2, keys: {} } })}>Begin an empty one</button>
        </p>
      </div>
      {score && <ScoreSheet score={score} />}
    </section>
  );
}

const LEFT = 120;

function ScoreSheet({ score }: { score: Score }) {
  const b = useBench();
  const box = useRef<HTMLDivElement>(null);
  const [[width, tall], setSize] = useState<[number, number]>([600, 300]);
  useEffect(() => {
    const sized = new ResizeObserver(() => {
      const r = box.current?.getBoundingClientRect();
      if (!r) return;
      setSize([r.width, r.height]);
    });
    sized.observe(box.current!);
    return () => sized.disconnect();
  }, []);
  const x = (t: number): number => LEFT + ((width - LEFT - 16) * t) / score.duration_s;
  const legs = b.rig?.info.legs ?? [];
  const controls = [...new Set([...Object.keys(score.keys), b.held])].filter(Boolean);
  // The sheet takes all the height it has: words keep their size, the lines move apart.
  const staffTop = 30;
  const staff = Math.min(Math.max(0.33 * tall, 74), 150);
  const keysTop = staffTop + legs.length * staff + 14;
  const row = Math.min(28, (tall - keysTop - 48) / Math.max(controls.length, 1));
  const height = Math.min(keysTop + controls.length * row + 44, tall);
  const timeAt = (event: PointerEvent): number => {
    const r = box.current?.getBoundingClientRect();
    if (!r) return bench.time;
    const px = event.clientX - r.left;
    return frameTime(score, ((px - LEFT) / (width - LEFT - 16)) * score.duration_s);
  };
  const scrub = (event: PointerEvent): void => {
    const target = event.currentTarget as SVGElement;
    target.setPointerCapture(event.pointerId);
    const move = (e: PointerEvent): void => { bench.timed(() => bench.showTime(timeAt(e))); bench.tell(); };
    const up = (): void => { target.removeEventListener("pointermove", move); target.removeEventListener("pointerup", up); };
    target.addEventListener("pointermove", move);
    target.addEventListener("pointerup", up);
    bench.playing = false;
    move(event);
  };
  const seconds: number[] = [];
  for (let t = 0; t <= score.duration_s + 1e-9; t += score.duration_s > 8 ? 1 : 0.5) seconds.push(t);
  return (
    <>
      <div class="score-box" ref={box}>
      <svg class="score-sheet" width={width} height={tall} data-drawing="score" tabindex={0} role="slider" aria-label="Time" aria-valuemin={0} aria-valuemax={score.duration_s} aria-valuenow={Number(b.time.toFixed(3))} aria-valuetext={`${fixed(b.time, 2)} seconds`}>
        <rect class="hit" x={0} y={0} width={width} height={height} onPointerDown={scrub} />
        <path class="rule" d={`M${x(0)} 20H${x(score.duration_s)}`} />
        {seconds.map((t) => <g key={t}><path class="rule" d={`M${x(t)} 20v-5`} /><text class="note mid" x={x(t)} y={11}>{fixed(t, Number.isInteger(t) ? 0 : 1)}{t === seconds[seconds.length - 1] ? " s" : ""}</text></g>)}
        {legs.map((leg, n) => <Staff key={leg.name} leg={leg.name} side={leg.side} y={staffTop + n * staff} pitch={staff / 4.2} x={x} score={score} />)}
        <text class="ser" x={0} y={keysTop - 2}>Keys</text>
        {controls.map((control, n) => {
          const y = keysTop + 14 + n * row;
          const side = sideOf(control);
          const held = control === b.held;
          return (
            <g key={control} class={held ? "thread held" : "thread"}>
              <text class={`end ${side}`} x={LEFT - 12} y={y + 4}>{spoken(control)}</text>
              <path class={`${side === "left" ? "cl" : side === "right" ? "cr" : "cm"} thin`} d={`M${x(0)} ${y}H${x(score.duration_s)}`} />
              {(score.keys[control] ?? []).map((key) => <Stitch key={key.time_s} score={score} control={control} time={key.time_s} x={x} y={y} timeAt={timeAt} />)}
            </g>
          );
        })}
        <g class="now">
          <path d={`M${x(b.time)} 20V${height - 20}`} />
          <circle cx={x(b.time)} cy={20} r={4} />
          <path class="fi" d={`M${x(b.time)} ${height - 8}l-5 -13h10z`} />
        </g>
      </svg>
      </div>
      <p class="acts transport">
        <button class="act" onClick={() => bench.play()}>{b.playing ? "hold still" : "play"}</button> <span class="note">space</span>
        <b>{fixed(b.time, 2)} s</b> <span class="note">frame {Math.round(b.time * score.rate)} of {Math.round(score.duration_s * score.rate)}</span>
        <button class="act" onClick={() => bench.commit(`${spoken(bench.held)} at ${fixed(bench.time, 2)} s`)}>key {spoken(b.held)}</button>
        <button class="act" onClick={() => void bench.ask({ kind: "set_score", what: "key taken out", score: withKey(score, bench.held, bench.time, null) })}>take this key out</button>
        <em class="note">a bar bears on the floor; a slur is in the air; a stitch is a key</em>
      </p>
    </>
  );
}

function Staff({ leg, side, y, pitch, x, score }: { leg: string; side: string; y: number; pitch: number; x: (t: number) => number; score: Score }) {
  const b = bench;
  const fall = b.state?.footfalls.find((one) => one.leg === leg);
  const info = b.rig?.leg(leg);
  const spans = [...(fall?.bearings ?? [])].sort((p, q) => p.start_s - q.start_s);
  const airs: [number, number][] = [];
  let end = 0;
  for (const span of spans) {
    if (span.start_s > end + 1.5 / score.rate) airs.push([end, span.start_s]);
    end = Math.max(end, span.end_s);
  }
  if (spans.length && end < score.duration_s - 1.5 / score.rate) airs.push([end, score.duration_s]);
  return (
    <g class="staff">
      <text class={`letter ${side}`} x={LEFT - 92} y={y + 0.3 * pitch + 2.2 * pitch}>{letter(side)}</text>
      {PARTS.map((part, n) => {
        const at = y + 1.2 * pitch + n * pitch;
        return (
          <g key={part}>
            <text class="note end" x={LEFT - 12} y={at + 4}>{part}</text>
            <path class="rule" d={`M${x(0)} ${at}H${x(score.duration_s)}`} />
            {spans.filter((span) => span.part === part).map((span) => {
              const slides = info ? span.slides > 0.02 * info.foot_length : false;
              const a = x(span.start_s), w = Math.max(x(span.end_s) - a, 2);
              return (
                <g key={span.start_s}>
                  <rect class={`bar ${side}`} x={a} y={at - 4.5} width={w} height={9} />
                  {slides && <path class="slide" d={wave(a, at + 9, w)} />}
                  {slides && w > 70 && <text class="note short" x={a + 4} y={at + 20}>slides {sizeWords(span.slides, b.rig!.info.mm)}</text>}
                </g>
              );
            })}
          </g>
        );
      })}
      {airs.map(([from, to]) => <path key={from} class={`slur ${side}`} d={`M${x(from)} ${y + pitch}Q${(x(from) + x(to)) / 2} ${y - 0.5 * pitch} ${x(to)} ${y + pitch}`} />)}
    </g>
  );
}

const wave = (x: number, y: number, width: number): string => {
  let d = `M${x} ${y}`;
  for (let at = 0; at + 6 <= width; at += 6) d += "q1.5 -4 3 0t3 0";
  return d;
};

function Stitch({ score, control, time, x, y, timeAt }: { score: Score; control: string; time: number; x: (t: number) => number; y: number; timeAt: (event: PointerEvent) => number }) {
  const side = sideOf(control);
  const now = Math.abs(time - bench.time) < 0.5 / score.rate;
  const down = (event: PointerEvent): void => {
    const target = event.currentTarget as SVGElement;
    target.setPointerCapture(event.pointerId);
    bench.hold(control);
    bench.showTime(time);
    let to = time;
    const move = (e: PointerEvent): void => { to = timeAt(e); target.setAttribute("transform", `translate(${x(to) - x(time)} 0)`); };
    const up = (): void => {
      target.removeEventListener("pointermove", move);
      target.removeEventListener("pointerup", up);
      if (to !== time) {
        const key = score.keys[control]!.find((one) => one.time_s === time)!;
        void bench.ask({ kind: "set_score", what: `key of ${spoken(control)} moved`, score: withKey(withKey(score, control, time, null), control, to, key.values) });
        bench.time = to;
      }
    };
    target.addEventListener("pointermove", move);
    target.addEventListener("pointerup", up);
    event.stopPropagation();
  };
  return (
    <g class="stitch" onPointerDown={down}>
      <rect class="hit" x={x(time) - 7} y={y - 10} width={14} height={20} />
      <path class={`${side === "left" ? "cl" : side === "right" ? "cr" : "cm"} solid ${now ? "grab" : "held"}`} d={`M${x(time) - 3} ${y + 6}L${x(time) + 3} ${y - 6}`} />
      {now && <circle class={`${side === "left" ? "cl" : side === "right" ? "cr" : "cm"} solid`} cx={x(time)} cy={y} r={8} />}
    </g>
  );
}

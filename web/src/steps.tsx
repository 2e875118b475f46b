// Each step's own matter: landmarks, choices of the build, kept poses, findings, files.
import { useRef, useState } from "preact/hooks";
import { bench } from "./bench";
import { writeMark } from "./marks";
import type { Finding, LegOptions } from "./messages";
import { heldLeg } from "./rocker.view";
import { useBench } from "./use";
import { capital, fixed, sideOf, sizeWords, spoken } from "./words";

export function MeasureNotes() {
  const b = useBench();
  const rig = b.rig;
  const leg = heldLeg();
  if (!rig || !leg) return <section class="notes" />;
  const hand = leg.landmarks.filter((mark) => mark.by_hand).length;
  return (
    <section class="notes" aria-label="Landmarks">
      <h2 class={`title ${leg.side}`}>{capital(leg.side)} foot</h2>
      <p class="caption">
        {leg.landmarks.length - hand} found{hand ? `, ${hand} set by hand` : ""}
      </p>
      <table class="marks">
        <thead>
          <tr><th /><th>sure</th><th>seen from</th></tr>
        </thead>
        <tbody>
          {leg.landmarks.map((mark) => {
            const name = `${leg.name}.${mark.name}`;
            return (
              <tr key={mark.name} class={b.mark === name ? "chosen" : ""}>
                <th>
                  <button class="word" data-landmark={name} aria-pressed={b.mark === name} onClick={() => { bench.mark = name; bench.tell(); }}>{mark.name}</button>
                </th>
                <td>
                  {mark.by_hand ? "" : <span class="sure"><i style={{ width: `${100 * mark.confidence}%` }} class={leg.side} /></span>}
                  {mark.by_hand ? "" : fixed(mark.confidence, 2)}
                </td>
                <td>
                  {mark.by_hand ? (
                    <>
                      <span class="by-hand">by hand</span>{" "}
                      <button class="act" onClick={() => void writeMark(name, null)} aria-label={`measure ${mark.name} again`}>measure</button>
                    </>
                  ) : mark.source}
                </td>
              </tr>
            );
          })}
        </tbody>
      </table>
      <dl class="sizes">
        <dt>foot length</dt><dd>{sizeWords(leg.foot_length, rig.info.mm)}</dd>
        <dt>breadth</dt><dd>{sizeWords(leg.breadth, rig.info.mm)}</dd>
        <dt>heel height</dt><dd>{sizeWords(leg.heel_height, rig.info.mm)}</dd>
        <dt>leg</dt><dd>{sizeWords(rig.info.leg_length, rig.info.mm)}</dd>
      </dl>
      <p class="next">
        {rig.info.legs.filter((one) => one !== leg).map((one) => (
          <button key={one.name} class={`word ${one.side}`} onClick={() => bench.hold(`${one.name}.foot`)}>{spoken(one.name)} foot</button>
        ))}
      </p>
      {rig.info.remarks.slice(0, 3).map((remark) => <p key={remark} class="note">{remark}.</p>)}
    </section>
  );
}

export function BuildNotes() {
  const b = useBench();
  const state = b.state;
  const [controls, setControls] = useState(state?.controls ?? "essential");
  const [plain, setPlain] = useState(state?.plain ?? true);
  const [options, setOptions] = useState<Record<string, LegOptions>>(state?.options ?? {});
  if (!state || !b.rig) return <section class="notes" />;
  const wish = (next: Partial<{ controls: "essential" | "full"; plain: boolean; options: Record<string, LegOptions> }>, only: boolean): void => {
    const all = { controls, plain, options, ...next };
    setControls(all.controls);
    setPlain(all.plain);
    setOptions(all.options);
    void bench.link.ask({ kind: "build", ...all, try_only: only }).then((answer) => {
      if (answer.kind === "done") bench.trying = only ? answer.told : null;
      else bench.say(answer.seen, answer.cure, true);
      bench.busy = "";
      bench.tell();
    });
    bench.busy = only ? "seeing what would change" : "building";
    bench.tell();
  };
  const changed = JSON.stringify([controls, plain, options]) !== JSON.stringify([state.controls, state.plain, state.options]);
  return (
    <section class="notes build" aria-label="Build">
      <h2 class="title">The rig</h2>
      <p class="caption">{state.controls}, {b.rig.info.channels.length} channels</p>
      <fieldset>
        <legend>controls</legend>
        {(["essential", "full"] as const).map((name) => (
          <label key={name}><input type="radio" name="controls" checked={controls === name} onChange={() => wish({ controls: name }, true)} /> {name}<small>{name === "essential" ? "foot, ball, toes, knee" : "every pivot, stretch, by joints"}</small></label>
        ))}
        <label><input type="checkbox" checked={plain} onChange={() => wish({ plain: !plain }, true)} /> the rest of the body too</label>
      </fieldset>
      {Object.entries(options).map(([leg, own]) => (
        <fieldset key={leg}>
          <legend class={sideOf(leg)}>{spoken(leg)} leg</legend>
          {([["soft", "soft reach", 100, "%"], ["stretch_limit", "stretch, most", 1, "×"], ["settle_deg", "ease in", 1, "°"]] as const).map(([key, words, factor, unit]) => (
            <label key={key}>
              {words}{" "}
              <input class="small-field" value={fixed(own[key] * factor, key === "stretch_limit" ? 2 : 1)} aria-label={`${words}, ${spoken(leg)} leg`}
                onChange={(event) => {
                  const number = Number((event.target as HTMLInputElement).value.replace(",", "."));
                  if (Number.isFinite(number)) wish({ options: { ...options, [leg]: { ...own, [key]: number / factor } } }, true);
                }} /> {unit}
            </label>
          ))}
        </fieldset>
      ))}
      <div class="trial" role="status">
        {b.trying && <p class="note">What would change</p>}
        {b.trying?.map((line) => <p key={line}>{line}</p>)}
      </div>
      <p>
        <button class="act" disabled={!changed} onClick={() => wish({}, false)}>Build</button>
        {changed && <button class="act" onClick={() => { setControls(state.controls); setPlain(state.plain); setOptions(state.options); bench.trying = null; bench.tell(); }}>Leave as it is</button>}
      </p>
    </section>
  );
}

export function PoseActs() {
  const b = useBench();
  const [name, setName] = useState<string | null>(null);
  const kept = useRef(false);
  const state = b.state;
  const leg = heldLeg();
  if (!state || !b.rig) return null;
  const poses = Object.keys(state.poses);
  const same = poses.find((one) => JSON.stringify(sorted(state.poses[one]!)) === JSON.stringify(sorted(state.pose)));
  const other = leg?.side === "left" ? "right" : "left";
  naming.open = () => {
    kept.current = false;
    setName("");
  };
  const keep = (): void => {
    if (name === null || kept.current) return; // Enter closes the field, which also makes it lose the focus
    kept.current = true;
    if (name.trim()) void bench.ask({ kind: "keep_pose", name: name.trim() });
    setName(null);
  };
  const forward = leg && b.channel(`${leg.name}.leg.forward`);
  return (
    <div class="pose-acts">
      <p class="acts">
        {name === null ? <button class="act" onClick={() => naming.open?.()}>Keep this pose</button> : (
          <input class="name-field" autofocus ref={(field) => field?.focus()} value={name} placeholder="its name" aria-label="Name of the pose"
            onInput={(event) => setName((event.target as HTMLInputElement).value)}
            onKeyDown={(event) => { event.stopPropagation(); if (event.key === "Enter") keep(); if (event.key === "Escape") { kept.current = true; setName(null); } }} onBlur={keep} />
        )}
        <button class="act" onClick={() => leg && void bench.ask({ kind: "mirror", leg: leg.name, swap: false })}>Mirror to {other}</button>
        <button class="act" onClick={() => leg && void bench.ask({ kind: "mirror", leg: leg.name, swap: true })}>Swap sides</button>
        <button class="act" onClick={() => restAll()}>All to rest</button>
        {forward && <button class="act" onClick={() => void bench.ask({ kind: "match", leg: leg.name, to: b.value(forward.name) > 0.5 ? "foot" : "joints", space: "" })}>{b.value(forward.name) > 0.5 ? "By the foot" : "By joints"}</button>}
      </p>
      {poses.length > 0 && (
        <p class="kept" aria-label="Kept poses">
          {poses.map((one) => (
            <span key={one}>
              <button class={`word${one === same ? " chosen" : ""}`} data-pose={one} onClick={() => takePose(one)}>{one}</button>
              <button class="forget note" aria-label={`forget ${one}`} onClick={() => void bench.ask({ kind: "drop_pose", name: one })}>forget</button>
            </span>
          ))}
        </p>
      )}
    </div>
  );
}

export const naming: { open: (() => void) | null } = { open: null };

const sorted = (pose: Record<string, number>): [string, number][] => Object.entries(pose).sort(([a], [b]) => a.localeCompare(b));

export function takePose(name: string): void {
  const pose = bench.state?.poses[name];
  if (!pose || !bench.rig) return;
  bench.setValues(bench.rig.values(pose));
  bench.commit(`the pose ${name}`, Object.keys(bench.rig.info.shapes));
}

export function restAll(): void {
  if (!bench.rig) return;
  bench.setValues(bench.rig.defaults.slice());
  bench.commit("all to rest", bench.rig.controls.filter((control) => bench.state?.score?.keys[control]));
}

export function ProveNotes() {
  const b = useBench();
  const proof = b.state?.proof;
  const finding = proof?.findings.find((one) => one.check === b.check);
  return (
    <section class="notes prove" aria-label="Findings">
      {finding ? <FindingNotes finding={finding} /> : (
        <>
          <h2 class="title">{proof ? "Findings" : "Not proven yet"}</h2>
          <p class="caption">{proof ? "choose one above to see its worst pose" : "each claim is tried over the whole range of the rig"}</p>
        </>
      )}
      <p>
        {proof?.running ? <span role="status">looking at {proof.running}</span> : <button class="act" onClick={() => void bench.ask({ kind: "prove", only: [] })}>{proof ? "Prove again" : "Prove the rig"}</button>}
      </p>
    </section>
  );
}

function FindingNotes({ finding }: { finding: Finding }) {
  const pose = Object.entries(finding.pose).slice(0, 6);
  return (
    <>
      <h2 class="title">{capital(finding.check)}</h2>
      <p class={`caption${finding.verdict === "falls short" ? " short" : ""}`}>{finding.verdict}</p>
      <p class="claim">{finding.claim}</p>
      <dl class="sizes">
        <dt>{finding.what}</dt><dd class={finding.verdict === "falls short" ? "short" : ""}>{finding.figure}</dd>
        {finding.allowance && <><dt>allowed</dt><dd>{finding.allowance}</dd></>}
        {finding.place && <><dt>where</dt><dd>{spoken(finding.place)}</dd></>}
        {pose.map(([name, value]) => <><dt key={name}>{spoken(name)}</dt><dd>{fixed(value, 1)}</dd></>)}
      </dl>
      {finding.cause && <p><em>Cause.</em> {finding.cause}</p>}
      {finding.cures.length > 0 && <p><em>Cure</em></p>}
      {finding.cures.map((cure, number) => (
        <p key={number}>
          {cure.can_be_made ? <button class="act" data-cure={number} onClick={() => void bench.ask({ kind: "cure", check: finding.check, number }, "building with the cure")}>{cure.sentence}</button> : <span>{cure.sentence}</span>}
          {cure.reaches && <small> reaches {cure.reaches}</small>}
        </p>
      ))}
      {finding.notes.map((note) => <p key={note} class="note">{note}</p>)}
    </>
  );
}

/** The checks in a row: name, how much of the allowance is used, the figure. */
export function ProveBand() {
  const b = useBench();
  const proof = b.state?.proof;
  if (!proof?.findings.length) return null;
  return (
    <div class="findings" role="group" aria-label="Checks">
      {proof.findings.map((finding) => {
        const short = finding.verdict === "falls short";
        const use = Math.min(finding.use, 1.5) / 1.5;
        return (
          <button key={finding.check} class={`finding${short ? " short" : ""}`} aria-pressed={b.check === finding.check} data-check={finding.check} onClick={() => { bench.showFinding(finding.check); bench.tell(); }}>
            <em>{finding.check}</em>
            <span class={`use${finding.verdict === "holds" || short ? "" : " dotted"}`}><i style={{ width: `${100 * use}%` }} /><b /></span>
            <small>{finding.verdict === "does not apply" ? "does not apply" : finding.figure}{short ? " falls short" : ""}</small>
          </button>
        );
      })}
    </div>
  );
}

export function HandOverNotes() {
  const b = useBench();
  const [folder, setFolder] = useState("out");
  const written = b.state?.handed_over ?? [];
  return (
    <section class="notes hand-over" aria-label="Hand over">
      <h2 class="title">Hand over</h2>
      <p class="caption">what instep rig writes, from this rig file</p>
      <label>into the folder <input class="name-field" value={folder} aria-label="Folder" onInput={(event) => setFolder((event.target as HTMLInputElement).value)} onKeyDown={(event) => event.stopPropagation()} /></label>
      <p><button class="act" onClick={() => void bench.ask({ kind: "hand_over", folder }, "writing: measuring, building, exercising, drawing")}>Hand over</button></p>
      {written.map((one) => <p key={one.file} class="written-file"><b>{one.file}</b><br /><small>{one.what}</small></p>)}
      <ul class="note">
        {b.state?.steps.filter((step) => step.state === "falls short" || step.state === "stale").map((step) => <li key={step.name}>{step.name}: {step.words}</li>)}
      </ul>
    </section>
  );
}

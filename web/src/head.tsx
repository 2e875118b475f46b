// The head of the sheet: what is open, the six steps, when it was written; faults and news beneath.
import { bench, STEPS } from "./bench";
import { useBench } from "./use";
import { capital } from "./words";

export function Head() {
  const b = useBench();
  const state = b.state;
  return (
    <header>
      <div class="names">
        <h1>Instep</h1>
        <p>{state?.character ? capital(state.character) : ""}</p>
      </div>
      <nav aria-label="The order of work">
        {STEPS.map((name) => {
          const step = state?.steps.find((one) => one.name === name);
          return (
            <button key={name} class="step" aria-current={b.step === name ? "step" : undefined} onClick={() => bench.open(name)} data-step={name}>
              <StepMark state={step?.state ?? "not yet"} />
              <span class="step-name">{name}</span>
              <small>{step?.words ?? ""}</small>
            </button>
          );
        })}
      </nav>
      <div class="written">
        {b.connected || !state ? (
          <p>
            {b.link.pending ? "writing" : `written ${state?.written_at ?? ""}`}
            <br />
            <em>{state?.rig_file}</em>
          </p>
        ) : (
          <p role="alert">
            <b>not written since {b.lostAt}</b>, trying again
            <br />
            <em>posing goes on; {b.link.pending === 1 ? "1 change waits" : `${b.link.pending} changes wait`}</em>
          </p>
        )}
      </div>
    </header>
  );
}

/** Done: disc. Stale: half disc, dashed. Falls short: bar under a line. Not yet: ring. Working: a ring that is inked. */
function StepMark({ state }: { state: string }) {
  return (
    <svg class="step-mark" viewBox="0 0 14 14" role="img" aria-label={state}>
      {state === "done" && <circle class="fi" cx={7} cy={7} r={5} />}
      {state === "stale" && <path class="fi" d="M7 2a5 5 0 0 0 0 10z" />}
      {state === "stale" && <circle class="fine dashed" cx={7} cy={7} r={5} />}
      {state === "falls short" && <path class="short-fill" d="M3 2.2h8v1.6H3zM4.5 7h5v5h-5z" />}
      {state === "not yet" && <circle class="fine" cx={7} cy={7} r={4.6} />}
      {state === "working" && <circle class="fine" cx={7} cy={7} r={4.6} />}
      {state === "working" && <circle class="fi" cx={7} cy={7} r={2} />}
    </svg>
  );
}

/** One line under the head: what is being done, what was told, what was refused and what to do about it. */
export function News() {
  const b = useBench();
  if (b.busy)
    return (
      <p class="news" role="status">
        {b.busy} …
      </p>
    );
  if (!b.said) return <p class="news" role="status" />;
  return (
    <p class={`news${b.said.bad ? " short" : ""}`} role={b.said.bad ? "alert" : "status"}>
      {b.said.bad && <b>Refused. </b>}
      {b.said.text} {b.said.cure && <span>{b.said.cure}.</span>}{" "}
      <button
        class="act"
        onClick={() => {
          bench.said = null;
          bench.tell();
        }}
      >
        put away
      </button>
    </p>
  );
}

/** The rig file was changed by another program: both values side by side. */
export function OutsideNotice() {
  const b = useBench();
  const outside = b.state?.outside;
  if (!outside) return null;
  return (
    <section class="outside" role="alert" aria-label="Changed outside">
      <h2>Changed outside</h2>
      <p>
        {b.state!.rig_file} was changed by another program at {outside.seen_at}
      </p>
      {outside.fault ? (
        <p class="short">{outside.fault}</p>
      ) : (
        <table>
          <thead>
            <tr>
              <th />
              <th>mine</th>
              <th>theirs</th>
            </tr>
          </thead>
          <tbody>
            {outside.differences.slice(0, 8).map((one) => (
              <tr key={one.name}>
                <th>{one.name}</th>
                <td>{one.mine}</td>
                <td>{one.theirs}</td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
      {outside.differences.length > 8 && <p class="note">and {outside.differences.length - 8} more</p>}
      <p>
        <button class="act" onClick={() => void bench.ask({ kind: "outside", take: false }, "writing the rig file")}>
          Keep mine
        </button>
        {!outside.fault && (
          <button class="act" onClick={() => void bench.ask({ kind: "outside", take: true }, "building from the rig file")}>
            Take theirs
          </button>
        )}
      </p>
    </section>
  );
}

import { options, render } from "preact";
import { bench } from "./bench";
import { Head, News, OutsideNotice } from "./head";
import { KeyList, listen } from "./keys";
import { Move } from "./move";
import { Notes } from "./notes";
import { RockerView } from "./rocker.view";
import { soleState, Soles } from "./soles";
import { ink, shown, Stage, view } from "./stage";
import { BuildNotes, HandOverNotes, MeasureNotes, PoseActs, ProveBand, ProveNotes } from "./steps";
import { useBench } from "./use";
import "./style.css";

function Page() {
  const b = useBench();
  if (!b.state) return <main class="empty"><p>{b.connected ? "Opening" : "Looking for the bench"} …</p></main>;
  if (!b.state.rig_file) return <Empty />;
  const moving = b.step === "move";
  return (
    <div class={`sheet ${b.step.replace(" ", "-")}`}>
      <Head />
      <News />
      {b.step === "prove" && <ProveBand />}
      <main>
        {b.step === "measure" ? <MeasureNotes /> : b.step === "build" ? <BuildNotes /> : b.step === "prove" ? <ProveNotes /> : b.step === "hand over" ? <HandOverNotes /> : <Notes />}
        <Stage />
        <div class="right-hand">
          <Soles small={moving} />
          {b.step === "pose" && <PoseActs />}
        </div>
        {moving && <Move />}
      </main>
      <RockerView />
      <footer class="note">
        <p>
          {b.state.undo_count ? <button class="act" onClick={() => bench.undo(false)}>undo</button> : <span>undo</span>} <span>{b.state.undo_count ? `${b.state.undo}, ${b.state.undo_count} back` : "nothing to undo"}</span>
        </p>
        <p>
          {b.state.redo && <button class="act" onClick={() => bench.undo(true)}>again</button>} {b.state.redo} <button class="act" onClick={() => { bench.keysShown = true; bench.tell(); }}>keys</button>
        </p>
      </footer>
      <OutsideNotice />
      <KeyList />
      <p id="spoken" class="unseen" aria-live="polite" />
    </div>
  );
}

function Empty() {
  return (
    <main class="empty">
      <h1>Instep</h1>
      <p>Open one of these:</p>
      {bench.state!.files.map((name) => (
        <p key={name}><button class="act" onClick={() => void bench.ask({ kind: "open", name }, `opening ${name}`)}>{name}</button></p>
      ))}
      <News />
    </main>
  );
}

// What the page draws of itself counts as scripting too.
options.debounceRendering = (draw) => queueMicrotask(() => bench.timed(draw));
listen();
render(<Page />, document.getElementById("bench")!);

// For tests: what the page shows, as numbers.
Object.assign(window, { instep: { bench, shown, view, soleState, get ink() { return ink; } } });

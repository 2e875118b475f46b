// Written from src/instep/bench/messages.py by instep.bench.typescript. Do not edit: write it again instead.

/** A stretch of time in which a part of a sole bears on the floor, and how far it slides in that time. */
export interface Bearing {
  part: "heel" | "ball" | "tip";
  start_s: number;
  end_s: number;
  slides: number;
}

/** Build with these choices. With `try_only` nothing is changed: the answer says what would. */
export interface Build {
  kind: "build";
  ask: number;
  controls: "essential" | "full";
  plain: boolean;
  options: Record<string, LegOptions>;
  try_only: boolean;
}

/** A channel, as `instep.rig.channels.Channel` has it. */
export interface ChannelInfo {
  name: string;
  control: string;
  quantity: string;
  unit: "deg" | "length" | "share";
  low: number;
  high: number;
  default: number;
  sentence: string;
}

/** Make the edit of the rig file that a finding's cure means. */
export interface Cure {
  kind: "cure";
  ask: number;
  check: string;
  number: number;
}

/** A cure, in a sentence; `can_be_made` where it is an edit of the rig file. */
export interface CureOffer {
  sentence: string;
  reaches: string;
  can_be_made: boolean;
}

/** One thing in which the rig file on disk differs from what is open here. */
export interface Difference {
  name: string;
  mine: string;
  theirs: string;
}

/** An ask was carried out; `told` is a sentence for the person, where there is something to say. */
export interface Done {
  kind: "done";
  ask: number;
  told: string[];
}

/** Something that the program places: `point` stands at the outputs' place. */
export interface DriverInfo {
  name: string;
  point: [number, number, number];
}

/** Forget a kept pose. */
export interface DropPose {
  kind: "drop_pose";
  ask: number;
  name: string;
}

/** An ask was refused; nothing has been changed. */
export interface Fault {
  kind: "fault";
  ask: number;
  seen: string;
  where: string;
  expected: string;
  cure: string;
}

/** One check's finding, in words and figures. */
export interface Finding {
  check: string;
  claim: string;
  verdict: "holds" | "falls short" | "advice" | "does not apply";
  what: string;
  figure: string;
  allowance: string;
  use: number;
  leg: string;
  place: string;
  pose: Record<string, number>;
  curve_x: number[];
  curve_y: number[];
  curve_words: string;
  curve_allowance: number | null;
  notes: string[];
  cause: string;
  cures: CureOffer[];
}

/** One foot's staff of the score. */
export interface Footfall {
  leg: string;
  bearings: Bearing[];
}

/** Write what `instep rig` writes into a folder, seen from the rig file's own. */
export interface HandOver {
  kind: "hand_over";
  ask: number;
  folder: string;
}

/** A joint of the character and the driver that carries it. */
export interface JointInfo {
  name: string;
  follows: number;
  bind: [number, number, number];
}

/** Keep the pose as it is under this name. */
export interface KeepPose {
  kind: "keep_pose";
  ask: number;
  name: string;
}

/** Where one control is at one time of a score: channel values by quantity ("roll"). */
export interface Key {
  time_s: number;
  values: Record<string, number>;
}

/** A landmark with how sure it is, and how many vertices it was seen from. */
export interface LandmarkInfo {
  name: string;
  position: [number, number, number];
  measured: [number, number, number] | null;
  confidence: number;
  source: string;
  by_hand: boolean;
  evidence: [number, number, number][];
}

/** One leg with its foot, by numbers of the mesh's faces and vertices: `sole_faces` are those of the map, `vertices` the foot's, `drawn` those of its picture, which ends on the shin. */
export interface LegInfo {
  name: string;
  side: "left" | "right";
  landmarks: LandmarkInfo[];
  sole_normal: [number, number, number];
  axis: [number, number, number];
  foot_length: number;
  breadth: number;
  heel_height: number;
  outline: [number, number, number][];
  sole_faces: number[];
  vertices: number[];
  drawn: number[];
  has_toes: boolean;
  hold: number;
  ball_gives_out_deg: number;
  tip_takes_over_deg: number;
  hold_by_hand: boolean;
  ball_by_hand: boolean;
  tip_by_hand: boolean;
}

/** How one leg is built: what the rig file says under `options`. */
export interface LegOptions {
  soft: number;
  stretch_limit: number;
  settle_deg: number;
}

/** Change how a leg is posed without moving it: by its joints, by its foot, or with its foot in a space. */
export interface Match {
  kind: "match";
  ask: number;
  leg: string;
  to: "joints" | "foot" | "space";
  space: string;
}

/** Give the other side the values of `leg`'s side; with `swap` both change places. */
export interface Mirror {
  kind: "mirror";
  ask: number;
  leg: string;
  swap: boolean;
}

/** Open one of the folder's files. */
export interface Open {
  kind: "open";
  ask: number;
  name: string;
}

/** The rig file was changed outside: take what is in it, or write this project's own over it. */
export interface Outside {
  kind: "outside";
  ask: number;
  take: boolean;
}

/** What was found in the rig file; `fault` where it cannot be read. */
export interface OutsideChange {
  seen_at: string;
  differences: Difference[];
  fault: string;
}

/** One piece of the mesh: its vertices' first number and how many. */
export interface PartInfo {
  name: string;
  first: number;
  count: number;
}

/** What was proven, at which revision of the rig; `running` says what is looked at now. */
export interface Proof {
  rig_revision: number;
  running: string;
  findings: Finding[];
}

/** Run the checks: all, or those named. */
export interface Prove {
  kind: "prove";
  ask: number;
  only: string[];
}

/** The rig as the page draws it. */
export interface RigInfo {
  rig_revision: number;
  mesh_revision: number;
  channels: ChannelInfo[];
  drivers: DriverInfo[];
  joints: JointInfo[];
  shapes: ShapeInfo[];
  legs: LegInfo[];
  parts: PartInfo[];
  left: [number, number, number];
  up: [number, number, number];
  forward: [number, number, number];
  floor: number;
  leg_length: number;
  height: number;
  mm: boolean;
  touches: number;
  remarks: string[];
}

/** A motion written with keys: by control, in order of time. Between keys a channel eases by 3u² - 2u³. */
export interface Score {
  name: string;
  rate: number;
  duration_s: number;
  keys: Record<string, Key[]>;
}

/** A landmark ("left.heel") stands here; None: where it is measured. */
export interface SetLandmark {
  kind: "set_landmark";
  ask: number;
  name: string;
  point: [number, number, number] | null;
}

/** The pose is now these values; channels that are not named are at rest. */
export interface SetPose {
  kind: "set_pose";
  ask: number;
  what: string;
  pose: Record<string, number>;
}

/** The score is now this. */
export interface SetScore {
  kind: "set_score";
  ask: number;
  what: string;
  score: Score;
}

/** A tuned number of one leg, set by hand; None: as solved. */
export interface SetTuned {
  kind: "set_tuned";
  ask: number;
  leg: string;
  number: "hold" | "ball_gives_out_deg" | "tip_takes_over_deg";
  value: number | null;
}

/** What an animator grabs, in the bind pose; each polyline is a list of points. */
export interface ShapeInfo {
  control: string;
  side: "left" | "right" | "middle";
  shape: "outline" | "section" | "mark";
  polylines: [number, number, number][][];
}

/** All of a project but its meshes and programs, which are fetched by `rig_revision`. */
export interface State {
  kind: "state";
  revision: number;
  character: string;
  rig_file: string;
  written_at: string;
  rig_revision: number;
  files: string[];
  steps: StepState[];
  controls: "essential" | "full";
  plain: boolean;
  options: Record<string, LegOptions>;
  pose: Record<string, number>;
  poses: Record<string, Record<string, number>>;
  undo: string;
  undo_count: number;
  redo: string;
  by_hand: string[];
  outside: OutsideChange | null;
  proof: Proof | null;
  score: Score | null;
  footfalls: Footfall[];
  exercises: string[];
  handed_over: Written[];
}

/** One of the six steps: its state, and in a few words how many, or since when. */
export interface StepState {
  name: "measure" | "build" | "pose" | "prove" | "move" | "hand over";
  state: "done" | "stale" | "falls short" | "not yet" | "working";
  words: string;
}

/** Make a score of an exercise. */
export interface TakeExercise {
  kind: "take_exercise";
  ask: number;
  name: string;
}

/** Take back the last change, or bring back the last one that was taken back. */
export interface Undo {
  kind: "undo";
  ask: number;
  again: boolean;
}

/** A file that was handed over. */
export interface Written {
  file: string;
  what: string;
}

export type Ask = Build | Cure | DropPose | HandOver | KeepPose | Match | Mirror | Open | Outside | Prove | SetLandmark | SetPose | SetScore | SetTuned | TakeExercise | Undo;

export type Told = Done | Fault | State;

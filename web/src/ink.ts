// The character in ink on paper: positions, normals, parts and depth into a buffer; then tones, hatching and lines.
//
// Joints come from the generated program; here the GPU only blends them. While something moves, a picture is drawn at
// one sample a pixel; when it rests, at four, with finer hatching.
import * as THREE from "three";
import type { Mesh } from "./rigmodel";

export interface View {
  /** World to view, and view to clip, as three.js has them. */
  camera: THREE.Camera;
  width: number;
  height: number;
}

const VERTEX = `
in vec3 position; in vec3 normal; in vec4 joints; in vec4 weights; in vec4 joints2; in vec4 weights2; in float part; in float leg;
uniform mat4 modelViewMatrix; uniform mat4 projectionMatrix; uniform sampler2D uJoints; uniform float uMany;
out vec3 vNormal; out vec3 vRest; out float vDepth; flat out float vPart; out float vLeg;
void blend(float j, float w, inout vec4 a, inout vec4 b, inout vec4 c) {
  int row = int(j + 0.5);
  a += w * texelFetch(uJoints, ivec2(0, row), 0); b += w * texelFetch(uJoints, ivec2(1, row), 0); c += w * texelFetch(uJoints, ivec2(2, row), 0);
}
void main() {
  vec4 a = vec4(0.0), b = vec4(0.0), c = vec4(0.0);
  for (int i = 0; i < 4; i++) blend(joints[i], weights[i], a, b, c);
  if (uMany > 0.5) for (int i = 0; i < 4; i++) blend(joints2[i], weights2[i], a, b, c);
  vec4 p = vec4(position, 1.0);
  vec4 view = modelViewMatrix * vec4(dot(a, p), dot(b, p), dot(c, p), 1.0);
  vec3 n = vec3(dot(a.xyz, normal), dot(b.xyz, normal), dot(c.xyz, normal));
  vNormal = mat3(modelViewMatrix) * n;
  vRest = position; vDepth = -view.z; vPart = part; vLeg = leg;
  gl_Position = projectionMatrix * view;
}`;

const FRAGMENT = `
precision highp float;
in vec3 vNormal; in vec3 vRest; in float vDepth; flat in float vPart; in float vLeg;
uniform vec3 uLight; uniform vec3 uUp; uniform vec3 uLeft; uniform vec3 uForward; uniform float uSpacing; uniform float uLine; uniform float uSize;
layout(location = 0) out vec4 oForm; layout(location = 1) out vec4 oTone;
float lines(float h, float width) {
  float g = max(length(vec2(dFdx(h), dFdy(h))), 1e-9);
  float level = log2(uSpacing * g);
  float period = exp2(floor(level)), odd = fract(level);
  float k = h / period, nearest = floor(k + 0.5);
  float away = abs(k - nearest) * period / g;
  float weight = mod(nearest, 2.0) > 0.5 ? 1.0 - smoothstep(0.35, 0.95, odd) : 1.0;
  return weight * (1.0 - smoothstep(width - 0.5 * uLine, width + 0.5 * uLine, away));
}
void main() {
  vec3 n = normalize(gl_FrontFacing ? vNormal : -vNormal);
  float shade = 0.5 + 0.5 * dot(n, uLight);
  shade = mix(shade, shade * (0.72 + 0.28 * clamp(n.y * 0.5 + 0.6, 0.0, 1.0)), 0.8);
  float up = dot(vRest, uUp), left = dot(vRest, uLeft), ahead = dot(vRest, uForward);
  float dark = clamp((0.52 - shade) / 0.4, 0.0, 1.0);
  float width = uLine * mix(0.18, 0.62, dark);
  float first = lines(up + 0.35 * left + 0.2 * ahead, width) * smoothstep(0.50, 0.44, shade);
  float second = lines(up - 0.75 * left - 0.5 * ahead, width * 0.9) * smoothstep(0.30, 0.24, shade);
  oForm = vec4(n, vPart + 1.0);
  oTone = vec4(vDepth, max(first, second), shade, vLeg);
}`;

const SCREEN = `
in vec3 position; out vec2 vAt;
void main() { vAt = position.xy * 0.5 + 0.5; gl_Position = vec4(position.xy, 0.0, 1.0); }`;

const COMPOSE = `
precision highp float;
in vec2 vAt; out vec4 o;
uniform sampler2D uForm; uniform sampler2D uTone; uniform vec2 uStep; uniform float uFirm; uniform float uFine; uniform float uNear;
uniform vec3 uInk; uniform vec3 uTone0; uniform vec3 uTone1; uniform vec3 uTone2; uniform vec3 uTone3;
uniform vec3 uWashLeft; uniform vec3 uWashRight; uniform vec2 uWash; uniform float uPlain;
float jump(vec2 d, float depth, float part, vec3 n, out float soft) {
  vec4 f1 = texture(uForm, vAt + d), f2 = texture(uForm, vAt - d);
  float a = texture(uTone, vAt + d).x, b = texture(uTone, vAt - d).x;
  soft = 0.0;
  if (f1.w < 0.5 || f2.w < 0.5) return 1.0;
  float bend = abs(a + b - 2.0 * depth);
  float broken = smoothstep(0.6, 1.0, bend / uNear);
  float crease = max(1.0 - dot(n, f1.xyz), 1.0 - dot(n, f2.xyz));
  soft = max(smoothstep(0.20, 0.34, crease), (abs(f1.w - part) > 0.5 || abs(f2.w - part) > 0.5) ? 1.0 : 0.0);
  return broken;
}
void main() {
  vec4 form = texture(uForm, vAt); vec4 tone = texture(uTone, vAt);
  float body = form.w > 0.5 ? 1.0 : 0.0;
  float outline = 0.0;
  for (int i = 0; i < 12; i++) {
    float t = float(i) * 0.5235988;
    vec2 d = vec2(cos(t), sin(t)) * uStep;
    float there = texture(uForm, vAt + d * uFirm).w > 0.5 ? 1.0 : 0.0;
    outline = max(outline, abs(there - body) * (body > 0.5 ? 1.0 : 0.75));
  }
  if (body < 0.5) { float a = outline; o = vec4(uInk * a, a); return; }
  float line = 0.0, s = 0.0, soft = 0.0;
  float breaks = 0.0;
  for (int i = 0; i < 4; i++) {
    float t = float(i) * 0.7853982;
    vec2 d = vec2(cos(t), sin(t)) * uStep;
    breaks = max(breaks, jump(d * uFine * 1.35, tone.x, form.w, form.xyz, s));
    jump(d * uFine * 0.8, tone.x, form.w, form.xyz, s); soft = max(soft, s);
  }
  line = max(breaks, 0.72 * soft);
  float shade = tone.z;
  vec3 paper = shade > 0.66 ? uTone0 : shade > 0.46 ? uTone1 : shade > 0.28 ? uTone2 : uTone3;
  paper = mix(uTone0, paper, 1.0 - uPlain);
  float wash = tone.w;
  if (wash > 0.5) paper = mix(paper, paper * uWashLeft, uWash.x);
  if (wash < -0.5) paper = mix(paper, paper * uWashRight, uWash.y);
  float ink = max(max(line, outline), tone.y * 0.62 * (1.0 - uPlain));
  o = vec4(mix(paper, uInk, ink), 1.0);
}`;

const SHRINK = `
precision highp float;
in vec2 vAt; out vec4 o; uniform sampler2D uPicture; uniform vec2 uStep;
void main() { o = 0.25 * (texture(uPicture, vAt + uStep * vec2(-0.5, -0.5)) + texture(uPicture, vAt + uStep * vec2(0.5, -0.5))
  + texture(uPicture, vAt + uStep * vec2(-0.5, 0.5)) + texture(uPicture, vAt + uStep * vec2(0.5, 0.5))); }`;

const rgb = (hex: string): THREE.Vector3 => {
  const n = parseInt(hex.slice(1), 16);
  return new THREE.Vector3((n >> 16) / 255, ((n >> 8) & 255) / 255, (n & 255) / 255);
};

interface Buffers {
  form: THREE.WebGLRenderTarget;
  picture: THREE.WebGLRenderTarget;
}

export class Ink {
  readonly renderer: THREE.WebGLRenderer;
  private readonly scene = new THREE.Scene();
  private readonly flat = new THREE.Scene();
  private readonly shrinkScene = new THREE.Scene();
  private readonly body: THREE.Mesh<THREE.BufferGeometry, THREE.RawShaderMaterial>;
  private readonly material: THREE.RawShaderMaterial;
  private readonly compose: THREE.RawShaderMaterial;
  private readonly shrink: THREE.RawShaderMaterial;
  private readonly none = new THREE.Camera();
  private joints: THREE.DataTexture;
  private whole = new THREE.BufferGeometry();
  private pieces = new Map<string, THREE.BufferGeometry>();
  private stores = new Map<string, Buffers>();
  private size = 1;

  constructor(canvas: HTMLCanvasElement) {
    this.renderer = new THREE.WebGLRenderer({ canvas, alpha: true, antialias: false, premultipliedAlpha: true, preserveDrawingBuffer: true });
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
    this.renderer.setClearColor(0, 0);
    this.renderer.autoClear = false;
    this.joints = new THREE.DataTexture(new Float32Array(12), 3, 1, THREE.RGBAFormat, THREE.FloatType);
    this.material = new THREE.RawShaderMaterial({
      glslVersion: THREE.GLSL3, vertexShader: VERTEX, fragmentShader: FRAGMENT, side: THREE.DoubleSide,
      uniforms: {
        uJoints: { value: this.joints }, uMany: { value: 0 }, uLight: { value: new THREE.Vector3(-0.42, 0.62, 0.66).normalize() },
        uUp: { value: new THREE.Vector3(0, 1, 0) }, uLeft: { value: new THREE.Vector3(1, 0, 0) }, uForward: { value: new THREE.Vector3(0, 0, 1) },
        uSpacing: { value: 6 }, uLine: { value: 1 }, uSize: { value: 1 },
      },
    });
    this.compose = new THREE.RawShaderMaterial({
      glslVersion: THREE.GLSL3, vertexShader: SCREEN, fragmentShader: COMPOSE, depthTest: false, depthWrite: false, blending: THREE.NoBlending,
      uniforms: {
        uForm: { value: null }, uTone: { value: null }, uStep: { value: new THREE.Vector2() }, uFirm: { value: 1 }, uFine: { value: 1 }, uNear: { value: 1 },
        uInk: { value: rgb("#241d15") }, uTone0: { value: rgb("#fdf9ef") }, uTone1: { value: rgb("#f4ecdb") }, uTone2: { value: rgb("#e7dcc6") },
        uTone3: { value: rgb("#d6c8ae") }, uWashLeft: { value: rgb("#c9dcd6") }, uWashRight: { value: rgb("#ecd4ae") }, uWash: { value: new THREE.Vector2() },
        uPlain: { value: 0 },
      },
    });
    this.shrink = new THREE.RawShaderMaterial({
      glslVersion: THREE.GLSL3, vertexShader: SCREEN, fragmentShader: SHRINK, depthTest: false, depthWrite: false, blending: THREE.NoBlending,
      uniforms: { uPicture: { value: null }, uStep: { value: new THREE.Vector2() } },
    });
    const sheet = new THREE.BufferGeometry();
    sheet.setAttribute("position", new THREE.BufferAttribute(new Float32Array([-1, -1, 0, 3, -1, 0, -1, 3, 0]), 3));
    for (const [scene, material] of [[this.flat, this.compose], [this.shrinkScene, this.shrink]] as const) {
      const screen = new THREE.Mesh(sheet, material);
      screen.frustumCulled = false;
      scene.add(screen);
    }
    this.body = new THREE.Mesh(this.whole, this.material);
    this.body.frustumCulled = false;
    this.scene.add(this.body);
  }

  /** Take a mesh; `legs` says for each vertex which leg's foot it belongs to (0 none, 1 left, -1 right). */
  takeMesh(mesh: Mesh, legs: Float32Array, axes: { up: number[]; left: number[]; forward: number[] }, size: number): void {
    this.whole.dispose();
    for (const piece of this.pieces.values()) piece.dispose();
    this.pieces.clear();
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(mesh.positions, 3));
    geometry.setAttribute("normal", new THREE.BufferAttribute(mesh.normals, 3));
    const split = (from: Float32Array | Uint16Array, first: number): Float32Array => {
      const out = new Float32Array(mesh.count * 4);
      for (let v = 0; v < mesh.count; v++) for (let k = 0; k < 4; k++) out[4 * v + k] = from[mesh.influences * v + first + k] ?? 0;
      return out;
    };
    geometry.setAttribute("joints", new THREE.BufferAttribute(split(mesh.joints, 0), 4));
    geometry.setAttribute("weights", new THREE.BufferAttribute(split(mesh.weights, 0), 4));
    const many = mesh.influences > 4;
    geometry.setAttribute("joints2", new THREE.BufferAttribute(many ? split(mesh.joints, 4) : new Float32Array(mesh.count * 4), 4));
    geometry.setAttribute("weights2", new THREE.BufferAttribute(many ? split(mesh.weights, 4) : new Float32Array(mesh.count * 4), 4));
    geometry.setAttribute("part", new THREE.BufferAttribute(mesh.part, 1));
    geometry.setAttribute("leg", new THREE.BufferAttribute(legs, 1));
    geometry.setIndex(new THREE.BufferAttribute(mesh.faces, 1));
    this.whole = this.body.geometry = geometry;
    this.size = size;
    const u = this.material.uniforms;
    u.uMany!.value = many ? 1 : 0;
    u.uUp!.value.fromArray(axes.up);
    u.uLeft!.value.fromArray(axes.left);
    u.uForward!.value.fromArray(axes.forward);
  }

  /** A piece of the mesh that can be drawn by itself: the faces with these corners' vertices. */
  addPiece(name: string, faces: Uint32Array): void {
    const piece = new THREE.BufferGeometry();
    for (const key of Object.keys(this.whole.attributes)) piece.setAttribute(key, this.whole.getAttribute(key));
    piece.setIndex(new THREE.BufferAttribute(faces, 1));
    this.pieces.get(name)?.dispose();
    this.pieces.set(name, piece);
  }

  /** Joint changes: 12 numbers a joint, [A | t] by rows. */
  pose(changes: Float32Array): void {
    if (changes.length !== this.joints.image.data!.length) {
      this.joints.dispose();
      this.joints = new THREE.DataTexture(changes, 3, changes.length / 12, THREE.RGBAFormat, THREE.FloatType);
      this.material.uniforms.uJoints!.value = this.joints;
    }
    this.joints.image.data = changes;
    this.joints.needsUpdate = true;
  }

  resize(width: number, height: number, ratio: number): void {
    this.renderer.setPixelRatio(ratio);
    this.renderer.setSize(width, height, false);
  }

  private buffers(width: number, height: number): Buffers {
    const key = `${width}x${height}`;
    let found = this.stores.get(key);
    if (!found) {
      if (this.stores.size > 8) {
        for (const store of this.stores.values()) { store.form.dispose(); store.picture.dispose(); }
        this.stores.clear();
      }
      const form = new THREE.WebGLRenderTarget(width, height, { count: 2, type: THREE.FloatType, minFilter: THREE.NearestFilter, magFilter: THREE.NearestFilter });
      const picture = new THREE.WebGLRenderTarget(width, height, { depthBuffer: false, minFilter: THREE.LinearFilter, magFilter: THREE.LinearFilter });
      found = { form, picture };
      this.stores.set(key, found);
    }
    return found;
  }

  private passes(view: View, samples: number, line: number, wash: [number, number], plain: number, target: THREE.WebGLRenderTarget | null): void {
    const width = Math.max(Math.round(view.width * samples), 1);
    const height = Math.max(Math.round(view.height * samples), 1);
    const { form, picture } = this.buffers(width, height);
    const px = (line * samples) / 1.7; // one for a firm line of the usual width
    const u = this.material.uniforms;
    u.uSpacing!.value = 6.4 * px;
    u.uLine!.value = 0.9 * px;
    this.renderer.setRenderTarget(form);
    this.renderer.clear(true, true, false);
    this.renderer.render(this.scene, view.camera);
    const c = this.compose.uniforms;
    c.uForm!.value = form.textures[0];
    c.uTone!.value = form.textures[1];
    c.uStep!.value.set(1 / width, 1 / height);
    c.uFirm!.value = 0.75 * px;
    c.uFine!.value = 0.42 * px;
    c.uNear!.value = 0.008 * this.size;
    c.uWash!.value.set(wash[0], wash[1]);
    c.uPlain!.value = plain;
    if (samples === 1 || target) {
      this.renderer.setRenderTarget(target);
      this.renderer.clear();
      this.renderer.render(this.flat, this.none);
      return;
    }
    this.renderer.setRenderTarget(picture);
    this.renderer.clear();
    this.renderer.render(this.flat, this.none);
    this.shrink.uniforms.uPicture!.value = picture.texture;
    this.shrink.uniforms.uStep!.value.set(1 / width, 1 / height);
    this.renderer.setRenderTarget(null);
    this.renderer.clear();
    this.renderer.render(this.shrinkScene, this.none);
  }

  /** Draw the whole character on the canvas. `line` is the width of a firm line, in the canvas's own pixels. */
  draw(view: View, engrave: boolean, line: number, wash: [number, number]): void {
    this.body.geometry = this.whole;
    const ratio = this.renderer.getPixelRatio();
    this.passes({ ...view, width: view.width * ratio, height: view.height * ratio }, engrave ? 2 : 1, line * ratio, wash, 0, null);
  }

  /** Draw a piece, posed as it is now, as a picture of its own. */
  picture(piece: string, view: View, line: number, plain: number): ImageData {
    const geometry = this.pieces.get(piece);
    if (geometry) this.body.geometry = geometry;
    const samples = 2;
    const width = Math.max(Math.round(view.width), 1) * samples;
    const height = Math.max(Math.round(view.height), 1) * samples;
    const { picture } = this.buffers(width, height);
    this.passes({ ...view, width: width / samples, height: height / samples }, samples, line, [0, 0], plain, picture);
    const raw = new Uint8Array(width * height * 4);
    this.renderer.readRenderTargetPixels(picture, 0, 0, width, height, raw);
    this.renderer.setRenderTarget(null);
    this.body.geometry = this.whole;
    const out = new ImageData(width, height);
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const from = 4 * ((height - 1 - y) * width + x);
        const to = 4 * (y * width + x);
        const a = raw[from + 3]!;
        for (let k = 0; k < 3; k++) out.data[to + k] = a ? Math.min((raw[from + k]! * 255) / a, 255) : 0;
        out.data[to + 3] = a;
      }
    }
    return out;
  }
}

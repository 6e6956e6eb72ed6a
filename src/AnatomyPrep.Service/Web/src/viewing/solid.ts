/** The solid, to turn: drawn by three.js, only when something changed, simplified while it moves. */

import {
  AmbientLight, BufferAttribute, BufferGeometry, Color, DirectionalLight, DoubleSide, Group, LineBasicMaterial, LineSegments, Mesh, MeshLambertMaterial,
  OrthographicCamera, Raycaster, Scene as World, Vector2, Vector3, WebGLRenderer,
} from "three";
import { button, h } from "../dom";
import { text } from "../text";
import type { Surface } from "./glb";
import { drawScaleBar, drawWords, placeIn } from "./overlay";
import type { Scene } from "./scene";
import { cross, length, lettersOf, mul, sub, unit, V3 } from "./space";
import { thinned } from "./thin";

const MANY_TRIANGLES = 120_000;
const REST_MS = 180;
const COLOURS = { transverse: 0x56b4e9, frontal: 0x2fbf8f, sagittal: 0xcc79a7 };

/** Thrown where the browser has no WebGL. */
export class NoWebGl extends Error {}

export class SolidPane {
  readonly root: HTMLElement;
  readonly #canvas = h("canvas", { class: "picture", role: "img", "aria-label": text.bench.solid });
  readonly #over = h("canvas", { class: "over", "aria-hidden": "true" });
  readonly #letters = { left: h("span", { class: "letter left" }), right: h("span", { class: "letter right" }), top: h("span", { class: "letter top" }), bottom: h("span", { class: "letter bottom" }) };
  readonly #reading = h("p", { class: "reading" });
  readonly #renderer: WebGLRenderer;
  readonly #world = new World();
  readonly #camera = new OrthographicCamera();
  readonly #light = new DirectionalLight(0xffffff, 2.4);
  readonly #cross = new Group();
  #parts: { readonly surface: Surface; readonly fine: Mesh; readonly coarse: Mesh | null }[] = [];
  #centre: V3 = [0, 0, 0];
  #radius = 100;
  #turn = -0.5;
  #tilt = 0.3;
  #zoom = 1;
  #pan: readonly [number, number] = [0, 0];
  #moving = false;
  #rest = 0;
  #pending = 0;
  #drag: { kind: string; x: number; y: number; readonly x0: number; readonly y0: number } | null = null;
  #measureFrom: V3 | null = null;
  #isPlaced = true;

  constructor(readonly scene: Scene, maximise: (pane: HTMLElement) => void) {
    try {
      this.#renderer = new WebGLRenderer({ canvas: this.#canvas, antialias: true, preserveDrawingBuffer: false });
    } catch {
      throw new NoWebGl();
    }
    this.#renderer.setClearColor(0x000000);
    this.#world.add(new AmbientLight(0xffffff, 0.75), this.#light, this.#light.target, this.#cross);
    const { left, right, top, bottom } = this.#letters;
    this.root = h(
      "section",
      { class: "pane solid", tabindex: 0, "aria-label": text.bench.solid, "data-plane": "solid" },
      this.#canvas, this.#over, left, right, top, bottom,
      h("p", { class: "caption" }, text.bench.solid),
      this.#reading,
      h("div", { class: "pane-tools" },
        button("A", () => this.look(0, 0), { "aria-label": text.bench.fromFront, title: text.bench.fromFront }),
        button("L", () => this.look(Math.PI / 2, 0), { "aria-label": text.bench.fromLeft, title: text.bench.fromLeft }),
        button("H", () => this.look(0, Math.PI / 2), { "aria-label": text.bench.fromHead, title: text.bench.fromHead }),
        button("−", () => this.zoom(1 / 1.25), { "aria-label": text.bench.smaller, title: text.bench.smaller }),
        button("+", () => this.zoom(1.25), { "aria-label": text.bench.larger, title: text.bench.larger }),
        button("▣", () => this.fit(), { "aria-label": text.bench.fit, title: text.bench.fit }),
        button("⤢", () => maximise(this.root), { "aria-label": text.bench.alone, title: text.bench.alone })),
    );
    this.#over.addEventListener("pointerdown", (e) => this.#down(e));
    this.#over.addEventListener("pointermove", (e) => this.#move(e));
    this.#over.addEventListener("pointerup", (e) => this.#up(e));
    this.#over.addEventListener("contextmenu", (e) => e.preventDefault());
    this.root.addEventListener("wheel", (e) => {
      e.preventDefault();
      this.zoom(e.deltaY < 0 ? 1.12 : 1 / 1.12);
    }, { passive: false });
    this.root.addEventListener("keydown", (e) => this.#key(e, maximise));
    new ResizeObserver(() => this.draw()).observe(this.root);
    scene.watch((_, changed) => {
      if (["point", "measures", "marks", "outlines"].some((c) => changed.has(c as "point"))) this.draw();
    });
  }

  /** @param isPlaced the solid lies where the images are; else it was laid for a machine and has no letters. */
  show(surfaces: readonly Surface[], isPlaced: boolean): void {
    this.clear();
    this.#isPlaced = isPlaced;
    const low: [number, number, number] = [Infinity, Infinity, Infinity];
    const high: [number, number, number] = [-Infinity, -Infinity, -Infinity];
    for (const { positions } of surfaces)
      for (let n = 0; n < positions.length; n++) {
        low[n % 3] = Math.min(low[n % 3], positions[n]);
        high[n % 3] = Math.max(high[n % 3], positions[n]);
      }
    this.#centre = mul([low[0] + high[0], low[1] + high[1], low[2] + high[2]], 0.5);
    this.#radius = Math.max(1, length(sub(high, low)) / 2);
    for (const surface of surfaces) {
      const fine = this.#mesh(surface);
      const many = surface.indices.length / 3 > MANY_TRIANGLES;
      const coarse = many ? this.#mesh(thinned(surface, MANY_TRIANGLES / 3)) : null;
      this.#parts.push({ surface, fine, coarse });
      this.#world.add(fine);
      if (coarse) this.#world.add(coarse);
    }
    this.draw();
  }

  clear(): void {
    for (const { fine, coarse } of this.#parts)
      for (const mesh of [fine, coarse])
        if (mesh) {
          this.#world.remove(mesh);
          mesh.geometry.dispose();
          (mesh.material as MeshLambertMaterial).dispose();
        }
    this.#parts = [];
  }

  /** Colours of the vertices of a part: linear r, g, b from 0 to 1; null for its own. */
  colour(part: number, colours: Float32Array | null): void {
    const { surface, fine, coarse } = this.#parts[part];
    const own = new Float32Array((surface.colours.length / 4) * 3);
    if (!colours) for (let v = 0, w = 0; v < surface.colours.length; v += 4) for (let c = 0; c < 3; c++) own[w++] = surface.colours[v + c] / 65535;
    fine.geometry.setAttribute("color", new BufferAttribute(colours ?? own, 3));
    if (coarse) coarse.visible = false;
    this.draw();
  }

  setVisible(part: number, visible: boolean): void {
    this.#parts[part].fine.userData["hidden"] = !visible;
    this.draw();
  }

  look(turn: number, tilt: number): void {
    this.#turn = turn;
    this.#tilt = Math.min(Math.max(tilt, -Math.PI / 2), Math.PI / 2);
    this.draw();
  }

  zoom(by: number): void {
    this.#zoom = Math.min(Math.max(this.#zoom * by, 0.3), 60);
    this.#stir();
  }

  fit(): void {
    this.#zoom = 1;
    this.#pan = [0, 0];
    this.draw();
  }

  /** The point of the solid under a place in CSS pixels of the pane. */
  pointAt(sx: number, sy: number): V3 | null {
    this.#aim();
    const ray = new Raycaster();
    ray.setFromCamera(new Vector2((2 * sx) / this.root.clientWidth - 1, 1 - (2 * sy) / this.root.clientHeight), this.#camera);
    const hit = ray.intersectObjects(this.#parts.filter((p) => !p.fine.userData["hidden"]).map((p) => p.fine), false)[0];
    return hit ? this.#patient(hit.point) : null;
  }

  screenOf(p: V3): readonly [number, number] {
    this.#aim();
    const at = this.#local(p).project(this.#camera);
    return [((at.x + 1) / 2) * this.root.clientWidth, ((1 - at.y) / 2) * this.root.clientHeight];
  }

  draw(): void {
    if (this.#pending === 0) this.#pending = requestAnimationFrame(() => {
      this.#pending = 0;
      this.#draw();
    });
  }

  /** Draws simplified now, and whole when it rests. */
  #stir(): void {
    this.#moving = true;
    clearTimeout(this.#rest);
    this.#rest = window.setTimeout(() => {
      this.#moving = false;
      this.draw();
    }, REST_MS);
    this.draw();
  }

  #draw(): void {
    const [w, hh] = [this.root.clientWidth, this.root.clientHeight];
    if (w === 0 || hh === 0) return;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    this.#renderer.setPixelRatio(ratio);
    this.#renderer.setSize(w, hh, false);
    this.#aim();
    for (const { fine, coarse } of this.#parts) {
      const hidden = fine.userData["hidden"] === true;
      fine.visible = !hidden && !(this.#moving && coarse);
      if (coarse) coarse.visible = !hidden && this.#moving;
    }
    this.#drawCross();
    this.#renderer.render(this.#world, this.#camera);
    this.#drawOver(ratio);
  }

  /** Directions of the screen in the patient. */
  get #axes(): { right: V3; up: V3; back: V3 } {
    // Seen from the front (A) the patient's left is on the right of the screen.
    const back: V3 = [Math.sin(this.#turn) * Math.cos(this.#tilt), -Math.cos(this.#turn) * Math.cos(this.#tilt), Math.sin(this.#tilt)];
    const right: V3 = [Math.cos(this.#turn), Math.sin(this.#turn), 0];
    return { right, up: cross(back, right), back };
  }

  #aim(): void {
    const { right, up, back } = this.#axes;
    const aspect = this.root.clientWidth / Math.max(1, this.root.clientHeight);
    const half = (this.#radius * 1.08) / this.#zoom / Math.min(1, aspect);
    this.#camera.left = -half * aspect + this.#pan[0];
    this.#camera.right = half * aspect + this.#pan[0];
    this.#camera.top = half + this.#pan[1];
    this.#camera.bottom = -half + this.#pan[1];
    this.#camera.near = 0.1;
    this.#camera.far = this.#radius * 6;
    const eye = mul(back, this.#radius * 3);
    this.#camera.position.set(...(eye as [number, number, number]));
    this.#camera.matrixAutoUpdate = false;
    this.#camera.matrix.makeBasis(new Vector3(...right), new Vector3(...up), new Vector3(...back)).setPosition(eye[0], eye[1], eye[2]);
    this.#camera.updateMatrixWorld(true);
    this.#camera.updateProjectionMatrix();
    const lamp = unit([back[0] * 1.2 + up[0] * 0.7 - right[0] * 0.5, back[1] * 1.2 + up[1] * 0.7 - right[1] * 0.5, back[2] * 1.2 + up[2] * 0.7 - right[2] * 0.5]);
    this.#light.position.set(lamp[0] * this.#radius, lamp[1] * this.#radius, lamp[2] * this.#radius);
  }

  // The world of three.js is the patient, moved so that the solid's middle is its origin: float32 then has digits to spare.
  #local(p: V3): Vector3 {
    return new Vector3(p[0] - this.#centre[0], p[1] - this.#centre[1], p[2] - this.#centre[2]);
  }

  #patient(v: Vector3): V3 {
    return [v.x + this.#centre[0], v.y + this.#centre[1], v.z + this.#centre[2]];
  }

  #mesh(surface: Surface): Mesh {
    const geometry = new BufferGeometry();
    const positions = new Float32Array(surface.positions.length);
    for (let n = 0; n < positions.length; n++) positions[n] = surface.positions[n] - this.#centre[n % 3];
    const colours = new Float32Array((surface.colours.length / 4) * 3);
    for (let v = 0, w = 0; v < surface.colours.length; v += 4) for (let c = 0; c < 3; c++) colours[w++] = surface.colours[v + c] / 65535;
    geometry.setAttribute("position", new BufferAttribute(positions, 3));
    geometry.setAttribute("color", new BufferAttribute(colours, 3));
    geometry.setIndex(new BufferAttribute(surface.indices, 1));
    geometry.computeVertexNormals();
    return new Mesh(geometry, new MeshLambertMaterial({ vertexColors: true, side: DoubleSide }));
  }

  #drawCross(): void {
    this.#cross.clear();
    if (!this.#isPlaced) return;
    const p = this.#local(this.scene.state.point);
    const r = this.#radius * 1.05;
    for (const [axis, colour] of [[0, COLOURS.sagittal], [1, COLOURS.frontal], [2, COLOURS.transverse]] as const) {
      const from = p.clone().setComponent(axis, -r);
      const to = p.clone().setComponent(axis, r);
      for (const [opacity, depthTest] of [[0.9, true], [0.25, false]] as const) {
        const line = new LineSegments(new BufferGeometry().setFromPoints([from, to]), new LineBasicMaterial({ color: new Color(colour), transparent: true, opacity, depthTest }));
        line.renderOrder = depthTest ? 0 : 1;
        this.#cross.add(line);
      }
    }
  }

  #drawOver(ratio: number): void {
    [this.#over.width, this.#over.height] = [Math.round(this.root.clientWidth * ratio), Math.round(this.root.clientHeight * ratio)];
    const canvas = this.#over.getContext("2d")!;
    canvas.setTransform(ratio, 0, 0, ratio, 0, 0);
    const { right, up } = this.#axes;
    const letters = this.#isPlaced ? lettersOf : machineLetters;
    this.#letters.right.textContent = letters(right);
    this.#letters.left.textContent = letters(mul(right, -1));
    this.#letters.top.textContent = letters(up);
    this.#letters.bottom.textContent = letters(mul(up, -1));
    const { point, measures, marks } = this.scene.state;
    if (this.#isPlaced) {
      const [x, y] = this.screenOf(point);
      canvas.strokeStyle = "#fff";
      canvas.lineWidth = 1.5;
      canvas.beginPath();
      canvas.arc(x, y, 5, 0, 2 * Math.PI);
      canvas.stroke();
    }
    for (const m of measures) {
      const [a, b] = [this.screenOf(m.from), this.screenOf(m.to)];
      canvas.strokeStyle = "#fff";
      canvas.lineWidth = 1.5;
      canvas.beginPath();
      canvas.moveTo(a[0], a[1]);
      canvas.lineTo(b[0], b[1]);
      canvas.stroke();
      drawWords(canvas, text.mm(length(sub(m.to, m.from))), (a[0] + b[0]) / 2 + 6, (a[1] + b[1]) / 2 - 6);
    }
    if (this.#measureFrom) {
      const [x, y] = this.screenOf(this.#measureFrom);
      canvas.fillStyle = "#fff";
      canvas.beginPath();
      canvas.arc(x, y, 3.5, 0, 2 * Math.PI);
      canvas.fill();
    }
    for (const mark of marks) {
      const [x, y] = this.screenOf(mark.at);
      canvas.strokeStyle = "#fff";
      canvas.lineWidth = 2;
      canvas.beginPath();
      canvas.arc(x, y, 7, 0, 2 * Math.PI);
      canvas.stroke();
      drawWords(canvas, mark.label, x + 11, y + 4);
    }
    drawScaleBar(canvas, this.root, this.root.clientWidth / (this.#camera.right - this.#camera.left));
    this.#reading.textContent = this.#isPlaced ? text.bench.placeOf(point) : text.bench.laid;
  }

  #down(e: PointerEvent): void {
    this.root.focus({ preventScroll: true });
    this.#over.setPointerCapture(e.pointerId);
    const [x, y] = placeIn(this.root, e);
    this.#drag = { kind: e.button === 2 || e.button === 1 || this.scene.state.tool === "move" ? "move" : "turn", x, y, x0: x, y0: y };
    e.preventDefault();
  }

  #move(e: PointerEvent): void {
    const drag = this.#drag;
    if (!drag) return;
    const [x, y] = placeIn(this.root, e);
    const [dx, dy] = [x - drag.x, y - drag.y];
    [drag.x, drag.y] = [x, y];
    if (drag.kind === "move") {
      const mmPerPixel = (this.#camera.right - this.#camera.left) / this.root.clientWidth;
      this.#pan = [this.#pan[0] - dx * mmPerPixel, this.#pan[1] + dy * mmPerPixel];
    } else {
      this.#turn -= dx * 0.009;
      this.#tilt = Math.min(Math.max(this.#tilt + dy * 0.009, -Math.PI / 2), Math.PI / 2);
    }
    this.#stir();
  }

  #up(e: PointerEvent): void {
    const drag = this.#drag;
    this.#drag = null;
    const [x, y] = placeIn(this.root, e);
    // A press that did not move is a click: it points at something.
    if (drag && drag.kind === "turn" && Math.hypot(x - drag.x0, y - drag.y0) < 4) this.#point(this.pointAt(x, y));
  }

  #point(at: V3 | null): void {
    if (!at) return;
    const { tool, measures } = this.scene.state;
    this.scene.set({ point: at });
    if (tool === "pick") this.scene.picked(at);
    if (tool !== "measure") return;
    if (this.#measureFrom) this.scene.set({ measures: [...measures, { from: this.#measureFrom, to: at }] });
    this.#measureFrom = this.#measureFrom ? null : at;
    this.draw();
  }

  #key(e: KeyboardEvent, maximise: (pane: HTMLElement) => void): void {
    if (e.target !== this.root || e.ctrlKey || e.metaKey || e.altKey) return;
    const turn = (across: number, down: number) => {
      this.#turn += across * 0.087;
      this.#tilt = Math.min(Math.max(this.#tilt + down * 0.087, -Math.PI / 2), Math.PI / 2);
      this.#stir();
    };
    const acts: Record<string, () => void> = {
      ArrowLeft: () => turn(1, 0),
      ArrowRight: () => turn(-1, 0),
      ArrowUp: () => turn(0, 1),
      ArrowDown: () => turn(0, -1),
      "+": () => this.zoom(1.25),
      "-": () => this.zoom(1 / 1.25),
      "0": () => this.fit(),
      a: () => this.look(0, 0),
      l: () => this.look(Math.PI / 2, 0),
      h: () => this.look(0, Math.PI / 2),
      f: () => maximise(this.root),
      // What lies in the middle of the pane.
      Enter: () => this.#point(this.pointAt(this.root.clientWidth / 2, this.root.clientHeight / 2)),
    };
    const act = acts[e.key];
    if (!act) return;
    e.preventDefault();
    act();
  }
}

/** A model that was laid for the machine has no left and right of the patient any more. */
function machineLetters(direction: V3): string {
  const axis = [0, 1, 2].sort((a, b) => Math.abs(direction[b]) - Math.abs(direction[a]))[0];
  return `${direction[axis] >= 0 ? "+" : "−"}${"xyz"[axis]}`;
}

/** The solid, to turn: drawn by three.js, only when something changed, simplified while it moves. */

import {
  AmbientLight, BufferAttribute, BufferGeometry, Color, DirectionalLight, DoubleSide, Group, type Intersection, LineBasicMaterial, LineSegments, Matrix4, Mesh, MeshLambertMaterial,
  MeshBasicMaterial, OrthographicCamera, PlaneGeometry, Quaternion, Raycaster, Scene as World, Vector2, Vector3, WebGLRenderer,
} from "three";
import { button, h } from "../dom";
import { text } from "../text";
import type { Surface } from "./glb";
import { drawMark, drawPath, drawRemark, drawScaleBar, drawWords, placeIn } from "./overlay";
import type { Scene, Shape, Where } from "./scene";
import { add, cross, length, lettersOf, mul, sub, unit, V3 } from "./space";
import { thinned } from "./thin";

const MANY_TRIANGLES = 120_000;
/** More than these are not drawn without a graphics card, also at rest: a million take seconds there, and the page with them. */
const MANY_IN_SOFTWARE = 300_000;
const SOFTWARE = /swiftshader|llvmpipe|softpipe|basic render|software/i;
const REST_MS = 180;
const SHORTEST_MM = 0.05;
/** Linear, of a solid without colours. */
export const GREY = 0.72;
/** What a step would do. */
const SHAPE = 0xffe04d;
const COLOURS = { transverse: 0x56b4e9, frontal: 0x2fbf8f, sagittal: 0xcc79a7 };

/** Drawn in place of a surface that has too many triangles. */
interface StandIn {
  readonly mesh: Mesh;
  /** The vertex of the surface that stands for each of its own. */
  readonly from: Uint32Array;
}

interface Part {
  readonly surface: Surface;
  /** The surface itself: what is pointed at is always this one. */
  readonly fine: Mesh;
  /** For while it moves; null for a surface that is small anyway. */
  readonly coarse: StandIn | null;
  /** At rest where there is no graphics card; null for the surface itself. */
  readonly middle: StandIn | null;
}

/** Thrown where the browser has no WebGL. */
export class NoWebGl extends Error {}

export class SolidPane {
  readonly root: HTMLElement;
  readonly #canvas = h("canvas", { class: "picture", role: "img", "aria-label": text.bench.solid });
  readonly #over = h("canvas", { class: "over", "aria-hidden": "true" });
  readonly #letters = { left: h("span", { class: "letter left" }), right: h("span", { class: "letter right" }), top: h("span", { class: "letter top" }), bottom: h("span", { class: "letter bottom" }) };
  readonly #caption = h("p", { class: "caption" }, text.bench.solid);
  readonly #reading = h("p", { class: "reading" });
  readonly #renderer: WebGLRenderer;
  readonly #world = new World();
  readonly #camera = new OrthographicCamera();
  readonly #light = new DirectionalLight(0xffffff, 2.4);
  readonly #cross = new Group();
  readonly #shapes = new Group();
  #parts: Part[] = [];
  /** Parts of another model, to compare. */
  #others: Part[] = [];
  /** Its colours are not its own. */
  #isMeasured = false;
  #values: { readonly part: number; readonly of: Float32Array; readonly say: (value: number) => string } | null = null;
  #line: (readonly [number, number])[] = [];
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
  readonly #isSoftware: boolean;

  constructor(readonly scene: Scene, maximise: (pane: HTMLElement) => void) {
    try {
      this.#renderer = new WebGLRenderer({ canvas: this.#canvas, antialias: true, preserveDrawingBuffer: false });
    } catch {
      throw new NoWebGl();
    }
    const gl = this.#renderer.getContext();
    const named = gl.getExtension("WEBGL_debug_renderer_info");
    this.#isSoftware = SOFTWARE.test(String(gl.getParameter(named ? named.UNMASKED_RENDERER_WEBGL : gl.RENDERER)));
    this.#renderer.setClearColor(0x000000);
    this.#world.add(new AmbientLight(0xffffff, 0.75), this.#light, this.#light.target, this.#cross, this.#shapes);
    const { left, right, top, bottom } = this.#letters;
    this.root = h(
      "section",
      { class: "pane solid", tabindex: 0, "aria-label": text.bench.solid, "data-plane": "solid" },
      this.#canvas, this.#over, left, right, top, bottom,
      this.#caption,
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
      if (changed.has("point")) this.#near = null;
      // A point that is dragged moves too: a large solid is drawn simplified until it rests.
      if (changed.has("point") && this.#isPlaced) this.#stir();
      else if (["point", "shapes", "before"].some((c) => changed.has(c as "point"))) this.draw();
      else if (["measures", "marks", "remarks", "sketch"].some((c) => changed.has(c as "point"))) this.#draw2d();
    });
    // A browser may take the drawing away (its graphics process ended, too many pages): said so, and drawn again once it gives it back.
    this.#canvas.addEventListener("webglcontextlost", (e) => {
      e.preventDefault();
      this.#caption.textContent = text.bench.solidLost;
    });
    this.#canvas.addEventListener("webglcontextrestored", () => this.draw());
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
    this.#parts = surfaces.map((s) => this.#part(s));
    // A large one is seen simplified first: without a graphics card the whole of it takes seconds.
    this.#stir();
  }

  /** Another model, shown in place of this one while the scene says "before". */
  showOther(surfaces: readonly Surface[]): void {
    this.#drop(this.#others);
    this.#others = surfaces.map((s) => this.#part(s));
    if (this.#isMeasured) for (const other of this.#others) this.#colourOther(other);
    this.draw();
  }

  clear(): void {
    this.#drop(this.#parts);
    this.#parts = [];
    this.#values = null;
  }

  #part(surface: Surface): Part {
    const fine = this.#mesh(surface);
    const triangles = surface.indices.length / 3;
    this.#world.add(fine);
    return {
      surface, fine,
      coarse: triangles > MANY_TRIANGLES ? this.#standIn(surface, MANY_TRIANGLES / 3) : null,
      middle: this.#isSoftware && triangles > MANY_IN_SOFTWARE ? this.#standIn(surface, MANY_IN_SOFTWARE) : null,
    };
  }

  #standIn(surface: Surface, triangles: number): StandIn {
    const thin = thinned(surface, triangles);
    const mesh = this.#mesh(thin.surface);
    this.#world.add(mesh);
    return { mesh, from: thin.from };
  }

  #drop(parts: readonly Part[]): void {
    for (const { fine, coarse, middle } of parts)
      for (const mesh of [fine, coarse?.mesh, middle?.mesh])
        if (mesh) {
          this.#world.remove(mesh);
          mesh.geometry.dispose();
          (mesh.material as MeshLambertMaterial).dispose();
        }
  }

  /** Colours of the vertices of a part: linear r, g, b from 0 to 1; null for its own. What is compared with is grey meanwhile: the legend is not of it. */
  colour(part: number, colours: Float32Array | null): void {
    recolour(this.#parts[part], colours ?? ownColours(this.#parts[part].surface));
    this.#isMeasured = colours !== null;
    for (const other of this.#others) this.#colourOther(other);
    this.draw();
  }

  #colourOther(part: Part): void {
    recolour(part, this.#isMeasured ? new Float32Array(part.surface.positions.length).fill(GREY) : ownColours(part.surface));
  }

  /** What the vertices were measured to be: said of the place that is pointed at. */
  setValues(part: number, values: Float32Array | null, say: (value: number) => string): void {
    this.#values = values ? { part, of: values, say } : null;
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
    const hit = this.#hit(sx, sy);
    return hit ? this.#patient(hit.point) : null;
  }

  #hit(sx: number, sy: number): Intersection | null {
    this.#aim();
    const ray = new Raycaster();
    ray.setFromCamera(new Vector2((2 * sx) / this.root.clientWidth - 1, 1 - (2 * sy) / this.root.clientHeight), this.#camera);
    return ray.intersectObjects(this.#parts.filter((p) => !p.fine.userData["hidden"]).map((p) => p.fine), false)[0] ?? null;
  }

  /** As deep as the solid's middle: of a line that is drawn only its direction on the screen counts. */
  #placeAt(sx: number, sy: number): V3 {
    this.#aim();
    const [x, y] = [(2 * sx) / this.root.clientWidth - 1, 1 - (2 * sy) / this.root.clientHeight];
    const middle = new Vector3(0, 0, 0).project(this.#camera);
    return this.#patient(new Vector3(x, y, middle.z).unproject(this.#camera));
  }

  /** Row by row, from patient millimetres to the pane's x, y, z, w. */
  get #clipFromPatient(): number[] {
    this.#aim();
    const m = new Matrix4().multiplyMatrices(this.#camera.projectionMatrix, this.#camera.matrixWorldInverse).multiply(new Matrix4().makeTranslation(-this.#centre[0], -this.#centre[1], -this.#centre[2]));
    return m.transpose().toArray();
  }

  #finish(screen: readonly (readonly [number, number])[]): void {
    this.#line = [];
    this.scene.set({ sketch: [] });
    const clip = screen.map(([x, y]) => [(2 * x) / this.root.clientWidth - 1, 1 - (2 * y) / this.root.clientHeight] as const);
    if (screen.length > 0) this.scene.drawn({ pane: "solid", points: screen.map(([x, y]) => this.#placeAt(x, y)), clip, toward: this.#axes.back, clipFromPatient: this.#clipFromPatient });
    this.draw();
  }

  screenOf(p: V3): readonly [number, number] {
    this.#aim();
    const at = this.#local(p).project(this.#camera);
    return [((at.x + 1) / 2) * this.root.clientWidth, ((1 - at.y) / 2) * this.root.clientHeight];
  }

  draw(): void {
    this.#isStale = true;
    this.#draw2d();
  }

  /** What lies over the solid only: the solid itself is not drawn again, which takes long without a graphics card. */
  #draw2d(): void {
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
    if (this.#isStale) this.#drawWorld(ratio, w, hh);
    this.#isStale = false;
    this.#drawOver(ratio);
  }

  #isStale = true;

  #drawWorld(ratio: number, w: number, hh: number): void {
    // A canvas that is given its size gets a new buffer, even where the size is the same.
    const [wide, high] = [Math.floor(w * ratio), Math.floor(hh * ratio)];
    if (this.#canvas.width !== wide || this.#canvas.height !== high) {
      this.#renderer.setPixelRatio(ratio);
      this.#renderer.setSize(w, hh, false);
    }
    this.#aim();
    const isBefore = this.scene.state.before && this.#others.length > 0;
    for (const [parts, isShown] of [[this.#parts, !isBefore], [this.#others, isBefore]] as const)
      for (const { fine, coarse, middle } of parts) {
        const hidden = !isShown || fine.userData["hidden"] === true;
        const drawn = (this.#moving ? coarse : middle)?.mesh ?? fine;
        for (const mesh of [fine, coarse?.mesh, middle?.mesh]) if (mesh) mesh.visible = !hidden && mesh === drawn;
      }
    const isSimplified = (isBefore ? this.#others : this.#parts).some((p) => p.middle);
    this.#caption.textContent = `${isBefore ? text.bench.solidBefore : text.bench.solid}${isSimplified ? text.bench.simplified : ""}`;
    this.#drawCross();
    this.#drawShapes();
    this.#renderer.render(this.#world, this.#camera);
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
    geometry.setAttribute("position", new BufferAttribute(positions, 3));
    geometry.setAttribute("color", new BufferAttribute(ownColours(surface), 3));
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

  /** Planes and boxes stand in the world; lines and balls are drawn over it. */
  #drawShapes(): void {
    this.#shapes.clear();
    for (const shape of this.scene.state.shapes) {
      if (this.#isPlaced ? false : shape.where === "images") continue;
      if (shape.kind === "plane") {
        const size = this.#radius * 2;
        const sheet = new Mesh(new PlaneGeometry(size, size), new MeshBasicMaterial({ color: SHAPE, transparent: true, opacity: 0.28, side: DoubleSide, depthWrite: false }));
        sheet.quaternion.copy(new Quaternion().setFromUnitVectors(new Vector3(0, 0, 1), new Vector3(...shape.normal)));
        // Its middle is where the solid's middle falls onto it, so that it is always seen.
        const off = shape.normal[0] * (shape.at[0] - this.#centre[0]) + shape.normal[1] * (shape.at[1] - this.#centre[1]) + shape.normal[2] * (shape.at[2] - this.#centre[2]);
        sheet.position.set(...(mul(shape.normal, off) as [number, number, number]));
        this.#shapes.add(sheet, this.#line3([this.#local(shape.at), this.#local(add(shape.at, mul(shape.normal, this.#radius * 0.3)))]));
      }
      if (shape.kind === "box") {
        const r = this.#radius * 1.2;
        const corner = (n: number) => new Vector3(...([0, 1, 2].map((a) => Math.min(r, Math.max(-r, ((n >> a) & 1 ? shape.max[a] : shape.min[a]) - this.#centre[a]))) as [number, number, number]));
        for (let n = 0; n < 8; n++) for (const bit of [1, 2, 4]) if (!(n & bit)) this.#shapes.add(this.#line3([corner(n), corner(n | bit)]));
      }
    }
  }

  #line3(points: Vector3[]): LineSegments {
    return new LineSegments(new BufferGeometry().setFromPoints(points), new LineBasicMaterial({ color: SHAPE }));
  }

  #drawShapeOver(canvas: CanvasRenderingContext2D, shape: Shape): void {
    const pixelsPerMm = this.root.clientWidth / (this.#camera.right - this.#camera.left);
    if (shape.kind === "path") {
      canvas.globalAlpha = 0.6;
      drawPath(canvas, shape.points.map((p) => this.screenOf(p)), 2 * shape.radiusMm * pixelsPerMm, "#ffe04d");
      canvas.globalAlpha = 1;
    }
    if (shape.kind === "ball") {
      const [x, y] = this.screenOf(shape.at);
      canvas.strokeStyle = "#ffe04d";
      canvas.lineWidth = 2;
      canvas.beginPath();
      canvas.arc(x, y, shape.radiusMm * pixelsPerMm, 0, 2 * Math.PI);
      canvas.stroke();
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
    const { point, measures, marks, remarks, shapes, sketch } = this.scene.state;
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
      drawWords(canvas, text.bench.measured(length(sub(m.to, m.from)), this.scene.state.modelScale), (a[0] + b[0]) / 2 + 6, (a[1] + b[1]) / 2 - 6);
    }
    if (this.#measureFrom) {
      const [x, y] = this.screenOf(this.#measureFrom);
      canvas.fillStyle = "#fff";
      canvas.beginPath();
      canvas.arc(x, y, 3.5, 0, 2 * Math.PI);
      canvas.fill();
    }
    const isHere = (where: Where) => this.#isPlaced || where !== "images";
    for (const shape of shapes) if (isHere(shape.where)) this.#drawShapeOver(canvas, shape);
    for (const line of [this.#line, sketch.map((p) => this.screenOf(p))]) drawPath(canvas, line, 2, "#ffe04d");
    for (const mark of marks) if (isHere(mark.where)) drawMark(canvas, mark.label, this.screenOf(mark.at));
    for (const mark of remarks) if (isHere(mark.where)) drawRemark(canvas, mark.label, this.screenOf(mark.at));
    drawScaleBar(canvas, this.root, this.root.clientWidth / (this.#camera.right - this.#camera.left));
    const value = this.#valueNear();
    this.#reading.textContent = [value, this.#isPlaced ? text.bench.placeOf(point) : text.bench.laid].filter((t) => t !== null).join("   ");
  }

  /** What was measured at the vertex nearest to the place that was pointed at last. */
  #valueNear(): string | null {
    if (!this.#values || this.#near === null || !this.#parts[this.#values.part]) return null;
    return this.#values.say(this.#values.of[this.#near]);
  }

  #near: number | null = null;

  #down(e: PointerEvent): void {
    this.root.focus({ preventScroll: true });
    this.#over.setPointerCapture(e.pointerId);
    const [x, y] = placeIn(this.root, e);
    const { tool } = this.scene.state;
    this.#drag = { kind: e.button === 2 || e.button === 1 || tool === "move" ? "move" : tool === "draw" ? "draw" : "turn", x, y, x0: x, y0: y };
    if (this.#drag.kind === "draw") this.#line = [[x, y]];
    e.preventDefault();
  }

  #move(e: PointerEvent): void {
    const drag = this.#drag;
    if (!drag) return;
    const [x, y] = placeIn(this.root, e);
    const [dx, dy] = [x - drag.x, y - drag.y];
    [drag.x, drag.y] = [x, y];
    if (drag.kind === "draw") {
      this.#line = [...this.#line, [x, y]];
      this.draw();
      return;
    }
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
    if (drag?.kind === "draw") this.#finish(this.#line);
    if (drag && drag.kind === "turn" && Math.hypot(x - drag.x0, y - drag.y0) < 4) this.#pointThrough(x, y);
  }

  #pointThrough(sx: number, sy: number): void {
    const hit = this.#hit(sx, sy);
    if (!hit) return;
    const at = this.#patient(hit.point);
    const part = this.#values ? this.#parts[this.#values.part] : null;
    // Of the triangle that was met, the corner that is nearest.
    const corners = part && hit.object === part.fine && hit.face ? [hit.face.a, hit.face.b, hit.face.c] : [];
    const far = (v: number) => length(sub([0, 1, 2].map((a) => part!.surface.positions[3 * v + a]) as unknown as V3, at));
    this.#point(at);
    this.#near = corners.length ? corners.reduce((a, b) => (far(a) <= far(b) ? a : b)) : null;
    this.draw();
  }

  /** In CSS pixels of the pane: the middle where the solid is there, else a place of the solid a little inwards from the vertex that stands nearest. */
  #nearestToMiddle(): readonly [number, number] {
    const [mx, my] = [this.root.clientWidth / 2, this.root.clientHeight / 2];
    if (this.#hit(mx, my)) return [mx, my];
    this.#aim();
    const { right, up } = this.#axes;
    const scale = this.root.clientWidth / (this.#camera.right - this.#camera.left);
    const far: { readonly x: number; readonly y: number; readonly d: number }[] = [];
    let best = Infinity;
    for (const { surface: { positions }, fine } of this.#parts) {
      if (fine.userData["hidden"]) continue;
      for (let v = 0; v < positions.length; v += 3) {
        const [px, py, pz] = [positions[v] - this.#centre[0], positions[v + 1] - this.#centre[1], positions[v + 2] - this.#centre[2]];
        const x = (px * right[0] + py * right[1] + pz * right[2] - this.#pan[0]) * scale;
        const y = -(px * up[0] + py * up[1] + pz * up[2] - this.#pan[1]) * scale;
        const d = Math.hypot(x, y);
        if (d >= best) continue;
        best = d;
        far.push({ x, y, d });
      }
    }
    // A vertex at the rim is seen edge on, and a ray may just miss it: a pixel or a few further from the middle lies the solid.
    for (const { x, y, d } of far.reverse().slice(0, 4)) for (const more of [0, 1, 2, 4]) {
      const at = [mx + x * (1 + more / (d || 1)), my + y * (1 + more / (d || 1))] as const;
      if (this.#hit(...at)) return at;
    }
    return [mx, my];
  }

  #point(at: V3): void {
    const { tool, measures } = this.scene.state;
    this.scene.set({ point: at });
    if (tool === "pick") this.scene.picked(at, "solid");
    if (tool !== "measure") return;
    // The same place again is not the other end.
    if (this.#measureFrom && length(sub(at, this.#measureFrom)) < SHORTEST_MM) return;
    if (this.#measureFrom) this.scene.set({ measures: [...measures, { from: this.#measureFrom, to: at }] });
    this.#measureFrom = this.#measureFrom ? null : at;
    this.draw();
  }

  #key(e: KeyboardEvent, maximise: (pane: HTMLElement) => void): void {
    if (e.target !== this.root || e.ctrlKey || e.metaKey || e.altKey) return;
    const turn = (across: number, down: number) => {
      if (e.shiftKey) {
        const step = (this.#camera.right - this.#camera.left) / 20;
        this.#pan = [this.#pan[0] + across * step, this.#pan[1] - down * step];
        this.#stir();
        return;
      }
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
      b: () => this.scene.set({ before: !this.scene.state.before }),
      // What lies in the middle of the pane, or nearest to it; of a line, the point that all panes share.
      Enter: () => {
        const { tool, sketch, point } = this.scene.state;
        if (tool !== "draw") this.#pointThrough(...this.#nearestToMiddle());
        else if (e.shiftKey) this.#finish(sketch.map((p) => this.screenOf(p)));
        else this.scene.set({ sketch: [...sketch, point] });
      },
      Backspace: () => this.scene.set({ sketch: this.scene.state.sketch.slice(0, -1) }),
    };
    const act = acts[e.key];
    if (!act) return;
    e.preventDefault();
    act();
  }
}

function recolour({ fine, coarse, middle }: Part, shown: Float32Array): void {
  fine.geometry.setAttribute("color", new BufferAttribute(shown, 3));
  for (const standIn of [coarse, middle]) {
    if (!standIn) continue;
    const few = new Float32Array(3 * standIn.from.length);
    standIn.from.forEach((v, n) => few.set(shown.subarray(3 * v, 3 * v + 3), 3 * n));
    standIn.mesh.geometry.setAttribute("color", new BufferAttribute(few, 3));
  }
}

/** Linear r, g, b. */
function ownColours({ colours }: Surface): Float32Array {
  const own = new Float32Array((colours.length / 4) * 3);
  for (let v = 0, w = 0; v < colours.length; v += 4) for (let c = 0; c < 3; c++) own[w++] = colours[v + c] / 65535;
  return own;
}

/** A model that was laid for the machine has no left and right of the patient any more. */
function machineLetters(direction: V3): string {
  const axis = [0, 1, 2].sort((a, b) => Math.abs(direction[b]) - Math.abs(direction[a]))[0];
  return `${direction[axis] >= 0 ? "+" : "−"}${"xyz"[axis]}`;
}

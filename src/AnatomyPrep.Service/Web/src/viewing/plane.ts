/** One slice plane: the measured values through a grey window, with outline, cross-hair, scale and letters. */

import { button, h } from "../dom";
import { text } from "../text";
import type { Outliner } from "./outline";
import { drawMark, drawPath, drawRemark, drawScaleBar, drawWords, placeIn } from "./overlay";
import type { Measure, Scene, Shape } from "./scene";
import { AxisName, cross, dot, Layout, length, mul, sub, unit, V3 } from "./space";
import type { Volume } from "./volume";

const AIR = -32768;
const COLOURS: Record<string, string> = { transverse: "#56b4e9", frontal: "#2fbf8f", sagittal: "#cc79a7" };
const OUTLINE = "#ff9e1b";
const OTHER_OUTLINE = "#9fdcff";
/** What a step would do. */
const SHAPE = "#ffe04d";

/** Grey, and where the band is a tint, of every possible HU; made again only when window or band change. */
class Shades {
  readonly table = new Uint32Array(65536);
  #made = "";

  make(levelHu: number, widthHu: number, bandHu: readonly [number, number] | null): Uint32Array {
    const wanted = `${levelHu}/${widthHu}/${bandHu?.join()}`;
    if (wanted === this.#made) return this.table;
    this.#made = wanted;
    const black = levelHu - widthHu / 2;
    for (let hu = -32768; hu < 32768; hu++) {
      const grey = Math.min(255, Math.max(0, Math.round(((hu - black) / widthHu) * 255)));
      const isIn = bandHu !== null && hu >= bandHu[0] && hu <= bandHu[1];
      // The tint keeps the grey readable: a third of a clear blue.
      const [r, g, b] = isIn ? [grey * 0.55 + 20, grey * 0.6 + 65, grey * 0.6 + 100] : [grey, grey, grey];
      this.table[hu - AIR] = (0xff000000 | (b << 16) | (g << 8) | r) >>> 0;
    }
    return this.table;
  }
}

const shades = new Shades();

export interface View {
  /** Screen pixels for a millimetre. */
  scale: number;
  /** Place, in mm of the layout, of the middle of the pane. */
  x: number;
  y: number;
}

export class SlicePane {
  readonly root: HTMLElement;
  readonly layout: Layout;
  readonly #picture = h("canvas", { class: "picture", role: "img" });
  readonly #over = h("canvas", { class: "over", "aria-hidden": "true" });
  readonly #off = document.createElement("canvas");
  readonly #caption = h("p", { class: "caption" });
  readonly #reading = h("p", { class: "reading" });
  readonly #scroll: HTMLInputElement;
  readonly #even: boolean;
  #image: ImageData | null = null;
  #drawnKey = "";
  #view: View | null = null;
  #fixed = 0;
  #outliners: readonly Outliner[] = [];
  #others: readonly Outliner[] = [];
  #outlines = new Map<string, Path2D>();
  /** What is being drawn with the pointer. */
  #line: V3[] = [];
  #pending = 0;
  #drag: { readonly kind: string; x: number; y: number; readonly from: V3 | null } | null = null;
  #measuring: Measure | null = null;

  constructor(readonly volume: Volume, readonly axis: AxisName, readonly scene: Scene, maximise: (pane: HTMLElement) => void) {
    this.layout = new Layout(volume.space, axis);
    this.#even = axis === "slice" || volume.space.isEven;
    const { letters, plane } = this.layout;
    const name = text.bench.planes[plane];
    this.#scroll = h("input", { type: "range", class: "scroll", min: 0, max: volume.count(axis) - 1, step: 1, "aria-label": text.bench.scrollOf(name) });
    this.#scroll.addEventListener("input", () => this.goTo(Number(this.#scroll.value)));
    this.root = h(
      "section",
      { class: `pane plane-${plane}`, tabindex: 0, "aria-label": name, "data-axis": axis, "data-plane": plane },
      this.#picture,
      this.#over,
      h("span", { class: "letter left" }, letters.left),
      h("span", { class: "letter right" }, letters.right),
      h("span", { class: "letter top" }, letters.top),
      h("span", { class: "letter bottom" }, letters.bottom),
      this.#caption,
      this.#reading,
      this.#scroll,
      h("div", { class: "pane-tools" },
        button("−", () => this.zoom(1 / 1.25), { "aria-label": text.bench.smaller, title: text.bench.smaller }),
        button("+", () => this.zoom(1.25), { "aria-label": text.bench.larger, title: text.bench.larger }),
        button("▣", () => this.fit(), { "aria-label": text.bench.fit, title: text.bench.fit }),
        button("⤢", () => maximise(this.root), { "aria-label": text.bench.alone, title: text.bench.alone })),
    );
    this.root.addEventListener("keydown", (e) => this.#key(e, maximise));
    this.#over.addEventListener("pointerdown", (e) => this.#down(e));
    this.#over.addEventListener("pointermove", (e) => this.#move(e));
    this.#over.addEventListener("pointerup", (e) => this.#up(e));
    this.#over.addEventListener("pointercancel", () => (this.#drag = null));
    this.#over.addEventListener("pointerleave", () => this.#read(scene.state.point));
    this.#over.addEventListener("contextmenu", (e) => e.preventDefault());
    this.root.addEventListener("wheel", (e) => this.#wheel(e), { passive: false });
    new ResizeObserver(() => this.draw()).observe(this.root);
    scene.watch(() => this.draw());
  }

  /** Number of the slice that is shown. */
  get slice(): number {
    return this.#fixed;
  }

  set outliners(outliners: readonly Outliner[]) {
    this.#outliners = outliners;
    this.#outlines.clear();
    this.draw();
  }

  /** Another model to compare with: its outline is dashed. */
  set others(others: readonly Outliner[]) {
    this.#others = others;
    this.#outlines.clear();
    this.draw();
  }

  /** Out of the screen, in the patient. */
  get toward(): V3 {
    return unit(cross(this.layout.right, mul(this.layout.below, -1)));
  }

  /** Where a point of the patient stands, in CSS pixels of the pane. */
  screenOf(p: V3): readonly [number, number] {
    const [x, y] = this.layout.placeOf(p);
    const view = this.#view ?? this.#fitted();
    return [(x - view.x) * view.scale + this.root.clientWidth / 2, (y - view.y) * view.scale + this.root.clientHeight / 2];
  }

  /** The point of the shown slice under a place in CSS pixels of the pane. */
  pointAt(sx: number, sy: number): V3 {
    const view = this.#view ?? this.#fitted();
    const [u, v] = this.layout.sample((sx - this.root.clientWidth / 2) / view.scale + view.x, (sy - this.root.clientHeight / 2) / view.scale + view.y, this.#fixed);
    return this.layout.patient(u, v, this.#fixed);
  }

  /** The segments of each outline on a slice, in samples. */
  outlinesOf(slice: number): readonly Float32Array[] {
    return this.#outliners.map((o) => o.cut(this.layout.across, this.layout.down, this.layout.fixed, slice));
  }

  goTo(slice: number): void {
    const index = [...this.volume.space.toIndex(this.scene.state.point)];
    index[this.layout.fixed] = Math.min(Math.max(slice, 0), this.volume.count(this.axis) - 1);
    this.scene.set({ point: this.volume.space.toPatient(index[0], index[1], index[2]) });
  }

  zoom(by: number, about: readonly [number, number] | null = null): void {
    const view = (this.#view ??= this.#fitted());
    const [sx, sy] = about ?? [this.root.clientWidth / 2, this.root.clientHeight / 2];
    const [dx, dy] = [(sx - this.root.clientWidth / 2) / view.scale, (sy - this.root.clientHeight / 2) / view.scale];
    const scale = Math.min(Math.max(view.scale * by, 0.2), 200);
    view.x += dx - (dx * view.scale) / scale;
    view.y += dy - (dy * view.scale) / scale;
    view.scale = scale;
    this.draw();
  }

  fit(): void {
    this.#view = null;
    this.draw();
  }

  draw(): void {
    if (this.#pending === 0) this.#pending = requestAnimationFrame(() => {
      this.#pending = 0;
      this.#draw();
    });
  }

  #draw(): void {
    const [width, height] = [this.root.clientWidth, this.root.clientHeight];
    if (width === 0 || height === 0) return;
    const state = this.scene.state;
    const { space } = this.volume;
    this.#fixed = Math.round(space.clamp(space.toIndex(state.point))[this.layout.fixed]);
    const samples = this.volume.here(this.axis, this.#fixed);
    if (!samples) void this.volume.fetch(this.axis, this.#fixed).then(() => this.draw(), (e: unknown) => this.#faulted(e));
    else this.#prefetch();
    const ratio = window.devicePixelRatio || 1;
    for (const canvas of [this.#picture, this.#over]) {
      const [w, hh] = [Math.round(width * ratio), Math.round(height * ratio)];
      if (canvas.width !== w || canvas.height !== hh) [canvas.width, canvas.height] = [w, hh];
    }
    if (samples) this.#drawSamples(samples, ratio);
    this.#drawOver(ratio);
    this.#caption.textContent = text.bench.sliceOf(text.bench.planes[this.layout.plane], this.#fixed + 1, this.volume.count(this.axis));
    this.#scroll.value = String(this.#fixed);
    this.#scroll.setAttribute("aria-valuetext", this.#caption.textContent);
    this.#picture.setAttribute("aria-label", this.#caption.textContent);
    if (!this.#drag || this.#drag.kind !== "grey") this.#read(this.#hover ?? state.point);
  }

  #hover: V3 | null = null;

  /** A slice that did not come is said so, in its place. */
  #faulted(e: unknown): void {
    this.#caption.textContent = `${text.bench.noSlice}: ${e instanceof Error ? e.message : String(e)}`;
  }

  #drawSamples(samples: Int16Array, ratio: number): void {
    const { window: grey, bandHu, smooth } = this.scene.state;
    const [w, hh] = this.volume.shape(this.axis);
    const key = `${this.#fixed}/${grey.levelHu}/${grey.widthHu}/${bandHu?.join()}`;
    if (key !== this.#drawnKey) {
      this.#drawnKey = key;
      const table = shades.make(grey.levelHu, grey.widthHu, bandHu);
      const off = this.#off.getContext("2d")!;
      if (!this.#image) {
        [this.#off.width, this.#off.height] = [w, hh];
        this.#image = off.createImageData(w, hh);
      }
      const pixels = new Uint32Array(this.#image.data.buffer);
      for (let n = 0; n < pixels.length; n++) pixels[n] = table[samples[n] - AIR];
      off.putImageData(this.#image, 0, 0);
    }
    const canvas = this.#picture.getContext("2d")!;
    canvas.setTransform(1, 0, 0, 1, 0, 0);
    canvas.fillStyle = "#000";
    canvas.fillRect(0, 0, this.#picture.width, this.#picture.height);
    canvas.imageSmoothingEnabled = smooth;
    const at = (u: number, v: number) => this.screenOf(this.layout.patient(u, v, this.#fixed)).map((c) => c * ratio);
    if (this.#even) {
      // Sample centres lie half a pixel into the picture.
      const [ox, oy] = at(-0.5, -0.5);
      const [ux, uy] = at(w - 0.5, -0.5);
      const [vx, vy] = at(-0.5, hh - 0.5);
      canvas.setTransform((ux - ox) / w, (uy - oy) / w, (vx - ox) / hh, (vy - oy) / hh, ox, oy);
      canvas.drawImage(this.#off, 0, 0);
      return;
    }
    // Uneven slices: each row reaches half way to its neighbours.
    for (let v = 0; v < hh; v++) {
      const [ox, oy] = at(-0.5, v - 0.5);
      const [ux, uy] = at(w - 0.5, v - 0.5);
      const [vx, vy] = at(-0.5, v + 0.5);
      canvas.setTransform((ux - ox) / w, (uy - oy) / w, vx - ox, vy - oy, ox, oy);
      canvas.drawImage(this.#off, 0, v, w, 1, 0, 0, w, 1);
    }
  }

  #drawOver(ratio: number): void {
    const canvas = this.#over.getContext("2d")!;
    const state = this.scene.state;
    canvas.setTransform(1, 0, 0, 1, 0, 0);
    canvas.clearRect(0, 0, this.#over.width, this.#over.height);
    if (state.outlines) this.#drawOutlines(canvas, ratio);
    canvas.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.#drawCross(canvas);
    for (const m of [...state.measures, ...(this.#measuring ? [this.#measuring] : [])]) this.#drawMeasure(canvas, m);
    for (const shape of state.shapes) if (shape.where !== "solid") this.#drawShape(canvas, shape);
    for (const line of [this.#line, state.sketch]) drawPath(canvas, line.map((p) => this.screenOf(p)), 2, SHAPE);
    for (const [marks, draw] of [[state.marks, drawMark], [state.remarks, drawRemark]] as const)
      for (const mark of marks) {
        if (mark.where === "solid") continue;
        const near = Math.abs(this.volume.space.toIndex(mark.at)[this.layout.fixed] - this.#fixed) < 1.5;
        canvas.globalAlpha = near ? 1 : 0.35;
        draw(canvas, mark.label, this.screenOf(mark.at));
        canvas.globalAlpha = 1;
      }
    drawScaleBar(canvas, this.root, (this.#view ?? this.#fitted()).scale);
  }

  #drawOutlines(canvas: CanvasRenderingContext2D, ratio: number): void {
    const view = this.#view ?? this.#fitted();
    const s = view.scale * ratio;
    const move = new DOMMatrix([s, 0, 0, s, (this.root.clientWidth / 2) * ratio - view.x * s, (this.root.clientHeight / 2) * ratio - view.y * s]);
    canvas.lineWidth = 1.6 * ratio;
    canvas.lineCap = "round";
    const draw = (outliner: Outliner, number: number, colour: string) => {
      const path = new Path2D();
      path.addPath(this.#outline(outliner, number), move);
      canvas.strokeStyle = colour;
      canvas.stroke(path);
    };
    // The other lies below, and thicker: where both are one, it is an edge on either side.
    canvas.lineWidth = 3.6 * ratio;
    this.#others.forEach((outliner, n) => draw(outliner, this.#outliners.length + n, OTHER_OUTLINE));
    canvas.lineWidth = 1.6 * ratio;
    this.#outliners.forEach((outliner, n) => draw(outliner, n, outlineColour(outliner, this.#outliners.length)));
  }

  /** What a step would do, where it meets this slice. */
  #drawShape(canvas: CanvasRenderingContext2D, shape: Shape): void {
    const [w, hh] = [this.root.clientWidth, this.root.clientHeight];
    const scale = (this.#view ?? this.#fitted()).scale;
    const depth = (p: V3) => dot(sub(p, this.pointAt(w / 2, hh / 2)), this.toward);
    if (shape.kind === "path") {
      const shown = shape.points.filter((p) => Math.abs(depth(p)) <= Math.max(shape.radiusMm, 1));
      canvas.globalAlpha = 0.4;
      drawPath(canvas, shown.map((p) => this.screenOf(p)), 2 * shape.radiusMm * scale, SHAPE);
      canvas.globalAlpha = 1;
      return;
    }
    if (shape.kind === "ball") {
      const r = Math.sqrt(Math.max(0, shape.radiusMm ** 2 - depth(shape.at) ** 2)) * scale;
      drawPath(canvas, r > 0 ? Array.from({ length: 49 }, (_, n) => [this.screenOf(shape.at)[0] + r * Math.cos((n * Math.PI) / 24), this.screenOf(shape.at)[1] + r * Math.sin((n * Math.PI) / 24)] as const) : [], 2, SHAPE);
      return;
    }
    // Half spaces, each by its value at three corners of the pane: it is linear between them.
    const halves = shape.kind === "plane" ? [{ at: shape.at, normal: shape.normal }] : [0, 1, 2].flatMap((axis) => {
      const normal = [0, 1, 2].map((a) => (a === axis ? 1 : 0)) as unknown as V3;
      return [{ at: shape.min, normal }, { at: shape.max, normal: mul(normal, -1) }];
    });
    // What is not kept is shaded.
    canvas.fillStyle = "rgba(0,0,0,0.45)";
    canvas.strokeStyle = SHAPE;
    canvas.lineWidth = 2;
    let inside: [number, number][] = [[0, 0], [w, 0], [w, hh], [0, hh]];
    for (const { at, normal } of halves) {
      const value = (x: number, y: number) => dot(normal, sub(this.pointAt(x, y), at));
      inside = clipped(inside, (p) => value(p[0], p[1]));
    }
    canvas.beginPath();
    canvas.rect(0, 0, w, hh);
    inside.forEach(([x, y], n) => (n === 0 ? canvas.moveTo(x, y) : canvas.lineTo(x, y)));
    canvas.closePath();
    canvas.fill("evenodd");
    canvas.beginPath();
    inside.forEach(([x, y], n) => (n === 0 ? canvas.moveTo(x, y) : canvas.lineTo(x, y)));
    canvas.closePath();
    canvas.stroke();
  }

  /** In mm of the layout; kept for slices that are looked at again. */
  #outline(outliner: Outliner, number: number): Path2D {
    const key = `${number}/${this.#fixed}`;
    let path = this.#outlines.get(key);
    if (!path) {
      path = new Path2D();
      const segments = outliner.cut(this.layout.across, this.layout.down, this.layout.fixed, this.#fixed);
      for (let n = 0; n < segments.length; n += 4) {
        const a = this.layout.place(segments[n], segments[n + 1], this.#fixed);
        const b = this.layout.place(segments[n + 2], segments[n + 3], this.#fixed);
        path.moveTo(a[0], a[1]);
        path.lineTo(b[0], b[1]);
      }
      if (this.#outlines.size > 200) this.#outlines.clear();
      this.#outlines.set(key, path);
    }
    return path;
  }

  #drawCross(canvas: CanvasRenderingContext2D): void {
    const [x, y] = this.screenOf(this.scene.state.point);
    const [w, hh] = [this.root.clientWidth, this.root.clientHeight];
    // Each line is the trace of another plane, in that plane's colour; the middle stays free for what it points at.
    const horizontal = this.layout.plane === "transverse" ? "frontal" : "transverse";
    const vertical = this.layout.plane === "sagittal" ? "frontal" : "sagittal";
    const gap = 9;
    canvas.lineWidth = 1;
    for (const [colour, x0, y0, x1, y1] of [
      [horizontal, 0, y, x - gap, y],
      [horizontal, x + gap, y, w, y],
      [vertical, x, 0, x, y - gap],
      [vertical, x, y + gap, x, hh],
    ] as const) {
      canvas.strokeStyle = COLOURS[colour];
      canvas.globalAlpha = 0.75;
      canvas.beginPath();
      canvas.moveTo(x0, y0);
      canvas.lineTo(x1, y1);
      canvas.stroke();
    }
    canvas.globalAlpha = 1;
  }

  #drawMeasure(canvas: CanvasRenderingContext2D, m: Measure): void {
    const [a, b] = [this.screenOf(m.from), this.screenOf(m.to)];
    canvas.strokeStyle = "#fff";
    canvas.lineWidth = 1.5;
    canvas.beginPath();
    canvas.moveTo(a[0], a[1]);
    canvas.lineTo(b[0], b[1]);
    for (const [x, y] of [a, b]) {
      canvas.moveTo(x + 3, y);
      canvas.arc(x, y, 3, 0, 2 * Math.PI);
    }
    canvas.stroke();
    drawWords(canvas, text.bench.measured(length(sub(m.to, m.from)), this.scene.state.modelScale), (a[0] + b[0]) / 2 + 6, (a[1] + b[1]) / 2 - 6);
  }

  #fitted(): View {
    const [w, hh] = this.volume.shape(this.axis);
    const corners = [[-0.5, -0.5], [w - 0.5, -0.5], [-0.5, hh - 0.5], [w - 0.5, hh - 0.5]].map(([u, v]) => this.layout.place(u, v, this.#fixed));
    const [xs, ys] = [corners.map((c) => c[0]), corners.map((c) => c[1])];
    const [left, right, top, bottom] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const scale = Math.min(this.root.clientWidth / (right - left), this.root.clientHeight / (bottom - top)) * 0.96;
    return { scale, x: (left + right) / 2, y: (top + bottom) / 2 };
  }

  /** The neighbours, so that the next turn of the wheel finds its slice here. */
  #prefetch(): void {
    if (this.volume.isBusy) return;
    for (const next of [this.#fixed + 1, this.#fixed - 1, this.#fixed + 2, this.#fixed - 2])
      if (next >= 0 && next < this.volume.count(this.axis) && !this.volume.here(this.axis, next)) void this.volume.fetch(this.axis, next).catch(() => undefined);
  }

  /** Place and HU of a point: of the nearest sample of the shown slice, exactly as measured. */
  #read(p: V3): void {
    const index = this.volume.space.toIndex(p).map(Math.round);
    const { across, down } = this.layout;
    const [w, hh] = this.volume.shape(this.axis);
    const [u, v] = [index[across], index[down]];
    const samples = this.volume.here(this.axis, this.#fixed);
    const hu = samples && u >= 0 && u < w && v >= 0 && v < hh ? samples[v * w + u] : null;
    this.#reading.textContent = text.bench.reading(p, hu);
  }

  #down(e: PointerEvent): void {
    this.root.focus({ preventScroll: true });
    this.#over.setPointerCapture(e.pointerId);
    const [x, y] = placeIn(this.root, e);
    const kind = e.button === 2 ? "grey" : e.button === 1 ? "move" : this.scene.state.tool;
    this.#drag = { kind, x, y, from: kind === "measure" ? this.pointAt(x, y) : null };
    if (kind === "point") this.scene.set({ point: this.pointAt(x, y) });
    if (kind === "pick") {
      this.scene.set({ point: this.pointAt(x, y) });
      this.scene.picked(this.pointAt(x, y), "slice");
    }
    if (kind === "draw") this.#line = [this.pointAt(x, y)];
    e.preventDefault();
  }

  #move(e: PointerEvent): void {
    const [x, y] = placeIn(this.root, e);
    this.#hover = this.pointAt(x, y);
    const drag = this.#drag;
    if (!drag) {
      this.#read(this.#hover);
      return;
    }
    const [dx, dy] = [x - drag.x, y - drag.y];
    if (drag.kind === "point") this.scene.set({ point: this.#hover });
    if (drag.kind === "grey") {
      const { levelHu, widthHu } = this.scene.state.window;
      // Sideways the width, up and down the level; faster for wide windows.
      const step = Math.max(1, widthHu / 300);
      this.scene.set({ window: { levelHu: Math.round(levelHu + dy * step), widthHu: Math.max(1, Math.round(widthHu + dx * step)) } });
    }
    if (drag.kind === "move") {
      const view = (this.#view ??= this.#fitted());
      view.x -= dx / view.scale;
      view.y -= dy / view.scale;
      this.draw();
    }
    if (drag.kind === "measure") {
      this.#measuring = { from: drag.from!, to: this.#hover };
      this.draw();
    }
    if (drag.kind === "draw") {
      this.#line.push(this.#hover);
      this.draw();
    }
    if (drag.kind !== "measure") [drag.x, drag.y] = [x, y];
  }

  /** Ends a line that was drawn, by pointer or by keys. */
  #finish(points: readonly V3[]): void {
    this.#line = [];
    this.scene.set({ sketch: [] });
    const [w, hh] = [this.root.clientWidth, this.root.clientHeight];
    const clip = points.map((p) => this.screenOf(p)).map(([x, y]) => [(2 * x) / w - 1, 1 - (2 * y) / hh] as const);
    if (points.length > 0) this.scene.drawn({ pane: "slice", points, clip, toward: this.toward, clipFromPatient: null });
    this.draw();
  }

  #up(e: PointerEvent): void {
    const drag = this.#drag;
    this.#drag = null;
    if (drag?.kind === "draw") this.#finish(this.#line);
    if (drag?.kind !== "measure" || !this.#measuring) return;
    const [x, y] = placeIn(this.root, e);
    if (Math.hypot(x - drag.x, y - drag.y) > 3) this.scene.set({ measures: [...this.scene.state.measures, this.#measuring] });
    this.#measuring = null;
    this.draw();
  }

  #wheel(e: WheelEvent): void {
    e.preventDefault();
    if (e.ctrlKey || e.metaKey) this.zoom(e.deltaY < 0 ? 1.15 : 1 / 1.15, placeIn(this.root, e));
    else this.goTo(this.#fixed + Math.sign(e.deltaY) * (e.shiftKey ? 10 : 1));
  }

  #key(e: KeyboardEvent, maximise: (pane: HTMLElement) => void): void {
    if (e.target !== this.root || e.ctrlKey || e.metaKey || e.altKey) return;
    const { window: grey, outlines } = this.scene.state;
    const far = e.shiftKey ? 10 : 1;
    const step = (right: number, below: number) => {
      const view = this.#view ?? this.#fitted();
      const [x, y] = this.screenOf(this.scene.state.point);
      const [w] = this.volume.shape(this.axis);
      // One sample sideways, whatever the zoom.
      const one = Math.hypot(...this.layout.place(1, 0, 0).map((c, n) => c - this.layout.place(0, 0, 0)[n])) || 1 / w;
      this.scene.set({ point: this.pointAt(x + right * far * one * view.scale, y + below * far * one * view.scale) });
    };
    const acts: Record<string, () => void> = {
      ArrowLeft: () => step(-1, 0),
      ArrowRight: () => step(1, 0),
      ArrowUp: () => step(0, -1),
      ArrowDown: () => step(0, 1),
      PageUp: () => this.goTo(this.#fixed - far),
      PageDown: () => this.goTo(this.#fixed + far),
      Home: () => this.goTo(0),
      End: () => this.goTo(this.volume.count(this.axis) - 1),
      "+": () => this.zoom(1.25),
      "-": () => this.zoom(1 / 1.25),
      "0": () => this.fit(),
      "[": () => this.scene.set({ window: { ...grey, widthHu: Math.max(1, Math.round(grey.widthHu / 1.1)) } }),
      "]": () => this.scene.set({ window: { ...grey, widthHu: Math.round(grey.widthHu * 1.1) + 1 } }),
      ",": () => this.scene.set({ window: { ...grey, levelHu: grey.levelHu - Math.max(1, Math.round(grey.widthHu / 40)) } }),
      ".": () => this.scene.set({ window: { ...grey, levelHu: grey.levelHu + Math.max(1, Math.round(grey.widthHu / 40)) } }),
      o: () => this.scene.set({ outlines: !outlines }),
      f: () => maximise(this.root),
      b: () => this.scene.set({ before: !this.scene.state.before }),
      Enter: () => this.#enter(e.shiftKey),
      Backspace: () => this.scene.set({ sketch: this.scene.state.sketch.slice(0, -1) }),
    };
    const act = acts[e.key];
    if (!act) return;
    e.preventDefault();
    act();
  }

  #keyFrom: V3 | null = null;

  /** What the tool does at the cross-hair: takes it, adds it to the line (with Shift: ends the line), or measures from one to the next. */
  #enter(ends: boolean): void {
    const { tool, point, measures, sketch } = this.scene.state;
    if (tool === "pick") this.scene.picked(point, "slice");
    if (tool === "draw" && ends) this.#finish(sketch);
    else if (tool === "draw") this.scene.set({ sketch: [...sketch, point] });
    if (tool !== "measure") return;
    if (this.#keyFrom) this.scene.set({ measures: [...measures, { from: this.#keyFrom, to: point }] });
    this.#keyFrom = this.#keyFrom ? null : point;
  }
}

/** The part of a convex polygon where a linear function is not negative (Sutherland and Hodgman, 1974, from memory). */
function clipped(polygon: readonly [number, number][], value: (p: readonly [number, number]) => number): [number, number][] {
  const kept: [number, number][] = [];
  polygon.forEach((a, n) => {
    const b = polygon[(n + 1) % polygon.length];
    const [fa, fb] = [value(a), value(b)];
    if (fa >= 0) kept.push(a);
    if (fa >= 0 !== fb >= 0) kept.push([a[0] + ((b[0] - a[0]) * fa) / (fa - fb), a[1] + ((b[1] - a[1]) * fa) / (fa - fb)]);
  });
  return kept;
}

/** The one outline is orange; of several structures each has the colour of its solid. */
export function outlineColour(outliner: Outliner, of: number): string {
  if (of === 1) return OUTLINE;
  const [r, g, b] = outliner.surface.colours;
  const srgb = (c: number) => Math.round(255 * Math.min(1, (c / 65535) ** (1 / 2.2)));
  return `rgb(${srgb(r)} ${srgb(g)} ${srgb(b)})`;
}

/** A region chosen by HU: the histogram with two ends to drag, and the tint in the panes while they are dragged. */

import { button, field, fill, h } from "../dom";
import { text } from "../text";
import type { Scene } from "../viewing/scene";
import type { VolumeHeader } from "../viewing/space";

const BINS = 240;

export function bandPanel(header: VolumeHeader, scene: Scene, use: (lowerHu: number, upperHu: number) => void): HTMLElement {
  const [low, high] = [Math.max(header.minHu, -1100), Math.min(header.maxHu, 3100)];
  const canvas = h("canvas", { class: "histogram", width: 2 * BINS, height: 120, role: "img" });
  const range = (label: string) => h("input", { type: "range", min: low, max: high, step: 1, "aria-label": label });
  const from = range(text.bench.from);
  const to = range(text.bench.to);
  const fromNumber = h("input", { type: "number", step: 1, min: header.minHu, max: header.maxHu });
  const toNumber = h("input", { type: "number", step: 1, min: header.minHu, max: header.maxHu });
  const body = h("div", { class: "stack", hidden: true });
  let band: [number, number] = [Math.min(300, high), high];
  const set = (lower: number, upper: number) => {
    band = [Math.min(lower, upper), Math.max(lower, upper)];
    scene.set({ bandHu: band });
    show();
  };
  const show = () => {
    from.value = fromNumber.value = String(band[0]);
    to.value = toNumber.value = String(band[1]);
    canvas.setAttribute("aria-label", text.bench.histogram(band[0], band[1]));
    draw(canvas, header, low, high, band);
  };
  from.addEventListener("input", () => set(Number(from.value), band[1]));
  to.addEventListener("input", () => set(band[0], Number(to.value)));
  fromNumber.addEventListener("change", () => set(Number(fromNumber.value), band[1]));
  toNumber.addEventListener("change", () => set(band[0], Number(toNumber.value)));
  const toggle = button(text.bench.showBand, () => {
    body.hidden = !body.hidden;
    toggle.textContent = body.hidden ? text.bench.showBand : text.bench.hideBand;
    toggle.setAttribute("aria-expanded", String(!body.hidden));
    if (body.hidden) scene.set({ bandHu: null });
    else set(...band);
  }, { "aria-expanded": "false" });
  fill(body, canvas, from, to,
    h("div", { class: "row" }, field(text.bench.from, fromNumber).root, field(text.bench.to, toNumber).root),
    h("p", { class: "hint" }, text.bench.bandHint),
    // What is the highest of the images means without end.
    button(text.bench.useBand, () => use(band[0], band[1] >= high ? 32767 : band[1])));
  return h("section", { class: "band-panel", "aria-label": text.bench.band }, h("div", { class: "row" }, h("h2", null, text.bench.band), h("div", { class: "grow" }), toggle), body);
}

function draw(canvas: HTMLCanvasElement, header: VolumeHeader, low: number, high: number, band: readonly [number, number]): void {
  const bins = new Float64Array(BINS);
  header.countsByHu.forEach((count, n) => {
    const bin = Math.floor(((header.minHu + n - low) / (high - low)) * BINS);
    if (bin >= 0 && bin < BINS) bins[bin] += count;
  });
  // Bone is a hundredth of a head: the height is a logarithm, else there would be nothing to see of it.
  const most = Math.log1p(Math.max(...bins));
  const context = canvas.getContext("2d")!;
  const style = getComputedStyle(canvas);
  context.clearRect(0, 0, canvas.width, canvas.height);
  for (let n = 0; n < BINS; n++) {
    const hu = low + ((n + 0.5) / BINS) * (high - low);
    context.fillStyle = hu >= band[0] && hu <= band[1] ? "#56b4e9" : style.getPropertyValue("--soft-ink");
    const tall = (Math.log1p(bins[n]) / most) * canvas.height;
    context.fillRect(2 * n, canvas.height - tall, 2, tall);
  }
}

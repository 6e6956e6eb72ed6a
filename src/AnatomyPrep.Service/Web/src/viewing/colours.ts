/**
 * Colours of measured values, and the legend that says what they mean. Lightness alone tells the order, so that no kind of colour vision and no grey print
 * loses it: one hue from light to dark, or blue to orange through grey for values with a sign. Between the stops colours are mixed in linear light.
 */

import { h } from "../dom";
import { text } from "../text";

type Rgb = readonly [number, number, number];

export interface Scale {
  readonly kind: "steps" | "signed";
  /** Values at both ends; what lies beyond has the end's colour. */
  readonly from: number;
  readonly to: number;
  /** For a small value the dark end: thin walls are what is looked for. */
  readonly darkIsSmall: boolean;
  readonly unit: "mm" | "deg";
}

const LIGHT: Rgb = [236, 244, 252];
const MIDDLE: Rgb = [96, 165, 217];
const DARK: Rgb = [10, 64, 140];
const BELOW: Rgb = [33, 102, 200];
const NONE: Rgb = [222, 222, 222];
const ABOVE: Rgb = [230, 110, 10];
/** Not measured there. */
export const UNKNOWN: Rgb = [120, 116, 112];

const linear = (c: number): number => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4);
const mixed = (a: Rgb, b: Rgb, t: number): Rgb => [0, 1, 2].map((k) => a[k] + (b[k] - a[k]) * t) as unknown as Rgb;

/** sRGB, 0 to 255. */
export function colourOf(scale: Scale, value: number): Rgb {
  if (Number.isNaN(value)) return UNKNOWN;
  const share = Math.min(1, Math.max(0, (value - scale.from) / (scale.to - scale.from)));
  const [a, b, c] = scale.kind === "signed" ? [BELOW, NONE, ABOVE] : scale.darkIsSmall ? [DARK, MIDDLE, LIGHT] : [LIGHT, MIDDLE, DARK];
  return share < 0.5 ? mixed(a, b, 2 * share) : mixed(b, c, 2 * share - 1);
}

/** Linear r, g, b of each vertex, as three.js takes them. */
export function paint(scale: Scale, values: Float32Array): Float32Array {
  const table = Array.from({ length: 256 }, (_, n) => colourOf(scale, scale.from + (n / 255) * (scale.to - scale.from)).map(linear));
  const unknown = UNKNOWN.map(linear);
  const colours = new Float32Array(3 * values.length);
  for (let v = 0; v < values.length; v++) {
    const value = values[v];
    const c = Number.isNaN(value) ? unknown : table[Math.min(255, Math.max(0, Math.round(((value - scale.from) / (scale.to - scale.from)) * 255)))];
    colours[3 * v] = c[0];
    colours[3 * v + 1] = c[1];
    colours[3 * v + 2] = c[2];
  }
  return colours;
}

/** Band of colours with five numbers below it, and what grey means. */
export function legend(scale: Scale, title: string, unknown: string | null): HTMLElement {
  const canvas = h("canvas", { class: "legend-band", width: 240, height: 14, role: "img", "aria-label": text.colours.band(title, scale.from, scale.to, scale.unit) });
  const context = canvas.getContext("2d")!;
  for (let x = 0; x < canvas.width; x++) {
    context.fillStyle = `rgb(${colourOf(scale, scale.from + (x / (canvas.width - 1)) * (scale.to - scale.from)).map(Math.round).join(" ")})`;
    context.fillRect(x, 0, 1, canvas.height);
  }
  const ticks = [0, 0.25, 0.5, 0.75, 1].map((t) => scale.from + t * (scale.to - scale.from));
  return h("figure", { class: "scale" }, h("figcaption", null, title), canvas,
    h("div", { class: "ticks" }, ticks.map((t, n) => h("span", null, text.colours.tick(t, scale.unit, n === 4)))),
    unknown ? h("p", { class: "hint" }, h("span", { class: "swatch unknown" }), ` ${unknown}`) : null);
}

/** What slices and solid draw over their pictures alike. */

import { text } from "../text";

const BAR_LENGTHS_MM = [200, 100, 50, 20, 10, 5, 2, 1];

/** Place of the pointer in the pane, in pixels of the page. */
export function placeIn(pane: HTMLElement, e: PointerEvent | WheelEvent): readonly [number, number] {
  const box = pane.getBoundingClientRect();
  return [e.clientX - box.left, e.clientY - box.top];
}

/** Words that can be read on any grey. */
export function drawWords(canvas: CanvasRenderingContext2D, words: string, x: number, y: number): void {
  canvas.font = "600 12px system-ui, sans-serif";
  canvas.lineWidth = 3;
  canvas.strokeStyle = "rgba(0,0,0,0.85)";
  canvas.strokeText(words, x, y);
  canvas.fillStyle = "#fff";
  canvas.fillText(words, x, y);
}

/** The scale bar: the longest round length that takes at most a third of the pane. */
export function drawScaleBar(canvas: CanvasRenderingContext2D, pane: HTMLElement, pixelsPerMm: number): void {
  const long = BAR_LENGTHS_MM.find((mm) => mm * pixelsPerMm <= Math.min(160, pane.clientWidth / 3)) ?? 1;
  const [x, y] = [14, pane.clientHeight - 30];
  canvas.strokeStyle = "#fff";
  canvas.lineWidth = 2;
  canvas.beginPath();
  canvas.moveTo(x, y - 5);
  canvas.lineTo(x, y);
  canvas.lineTo(x + long * pixelsPerMm, y);
  canvas.lineTo(x + long * pixelsPerMm, y - 5);
  canvas.stroke();
  drawWords(canvas, text.wholeMm(long), x + 5, y - 8);
}

/** A ring with its name beside it. */
export function drawMark(canvas: CanvasRenderingContext2D, label: string, [x, y]: readonly [number, number]): void {
  for (const [colour, width] of [["rgba(0,0,0,0.85)", 4], ["#ffe04d", 2]] as const) {
    canvas.strokeStyle = colour;
    canvas.lineWidth = width;
    canvas.beginPath();
    canvas.arc(x, y, 6, 0, 2 * Math.PI);
    canvas.stroke();
  }
  drawWords(canvas, label, x + 10, y - 6);
}

/** A place that somebody has pointed out: a flag on a pole, so that it is no ring of a step. */
export function drawRemark(canvas: CanvasRenderingContext2D, label: string, [x, y]: readonly [number, number]): void {
  canvas.beginPath();
  canvas.moveTo(x, y);
  canvas.lineTo(x, y - 24);
  canvas.lineTo(x + 15, y - 18);
  canvas.lineTo(x, y - 12);
  for (const [colour, width] of [["rgba(0,0,0,0.9)", 5], ["#ff8fa3", 2]] as const) {
    canvas.strokeStyle = colour;
    canvas.lineWidth = width;
    canvas.stroke();
  }
  canvas.fillStyle = "#ff8fa3";
  canvas.fill();
  drawWords(canvas, label, x + 19, y - 14);
}

/** A line through points of the pane; one point is a dot. */
export function drawPath(canvas: CanvasRenderingContext2D, points: readonly (readonly [number, number])[], width: number, colour: string): void {
  if (points.length === 0) return;
  canvas.strokeStyle = colour;
  canvas.lineWidth = Math.max(1, width);
  canvas.lineCap = canvas.lineJoin = "round";
  canvas.beginPath();
  canvas.moveTo(points[0][0], points[0][1]);
  for (const [x, y] of points.length > 1 ? points.slice(1) : points) canvas.lineTo(x, y);
  canvas.stroke();
}

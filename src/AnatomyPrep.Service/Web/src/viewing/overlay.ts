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

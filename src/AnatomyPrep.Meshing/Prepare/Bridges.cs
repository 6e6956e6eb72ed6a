using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>A part of a layer with nothing below it that hangs between supported material on two sides or more.</summary>
/// <param name="AtMm">In the middle of the span, on the underside.</param>
/// <param name="AboveBedMm">Height of that.</param>
/// <param name="SpanMm">From one side to the other.</param>
/// <param name="AreaMm2">Of the whole part.</param>
/// <param name="Layer">Its number, from 1.</param>
/// <param name="Triangles">Of the part's underside, ascending.</param>
public sealed record Bridge(Vec3 AtMm, double AboveBedMm, double SpanMm, double AreaMm2, int Layer, IReadOnlyList<int> Triangles);

/// <param name="Found">Longest first.</param>
/// <param name="PixelMm">A span is uncertain by this.</param>
public sealed record LongBridges(IReadOnlyList<Bridge> Found, double PixelMm, double LimitMm);

/// <summary>Finds the places where a layer has to span more than a process can without support, when a model is made from the bed upward.</summary>
/// <remarks>
/// Ours. A layer is the section at its middle. A pixel of it hangs when material begins there: the layer below has none. Hanging pixels that touch are one part;
///   the pixels beside it that the layer below carries are its sides. The free span at a hanging pixel is twice its distance to the nearest side, and it is a bridge when,
///   within 1.4 of that distance, another side lies nearly opposite (seen 140° or more apart) with nothing but the part between. So a plate that stands out from one wall is none,
///   nor is the ring a dome grows by, nor a part of a layer with no side (an island); the lid of a round well is one across its width.
/// Support is what lies below: a ceiling that rises slowly is spanned layer by layer, each of them judged alone, as the machine does.
/// The span is measured between pixel edges: right within one pixel, a twentieth of the limit but no finer than a thousandth of the model's diagonal.
/// Cost: O(vertices + triangles + crossings), and for parts large enough pixels × sides; memory as <see cref="ColumnRaster"/>. One thread.
/// </remarks>
public static class Bridges
{
    private const double PixelsALimit = 20;
    private const double MostPixels = 1000;
    private const double OppositeReach = 1.4;
    private const double CosOpposite = -0.76604444311897803539;

    /// <param name="up">Away from the bed.</param>
    /// <param name="limitMm">Longest span without support.</param>
    /// <exception cref="OperationCanceledException">Asked once a layer.</exception>
    public static LongBridges Find(Mesh mesh, Vec3 up, double layerHeightMm, double limitMm, RunContext run)
    {
        if (mesh.TriangleCount == 0)
            return new([], limitMm / PixelsALimit, limitMm);
        var raster = new ColumnRaster();
        raster.Cast(mesh, UpFrame.Of(up), Math.Max(limitMm / PixelsALimit, ColumnRaster.PixelFor(mesh, MostPixels)), run, border: 1);
        var layers = new Layers(mesh, raster, layerHeightMm);
        var found = new List<Bridge>();
        foreach (var layer in layers.Hanging())
        {
            run.ThrowIfCancelled();
            layers.Mark(layer);
            foreach (var part in layers.Parts(layer, (int)(limitMm / raster.PixelMm)))
                if (layers.Longest(part, limitMm) is { } bridge)
                    found.Add(bridge);
        }

        return new([.. found.OrderByDescending(b => b.SpanMm).ThenBy(b => b.AboveBedMm).ThenBy(b => b.AtMm.X).ThenBy(b => b.AtMm.Y)], raster.PixelMm, limitMm);
    }

    /// <summary>Where material of a layer begins in the air.</summary>
    private readonly record struct Underside(int Layer, int Pixel, int Triangle, float HeightMm);

    private sealed class Layers(Mesh mesh, ColumnRaster raster, double layerHeightMm)
    {
        // Number of the layer that a pixel hangs in, and of its entry below; 0 for none.
        private readonly int[] _marks = new int[raster.Width * raster.Depth];
        private readonly int[] _entries = new int[raster.Width * raster.Depth];
        private readonly bool[] _taken = new bool[raster.Width * raster.Depth];

        /// <summary>Layer by layer from the lowest, in each by pixel.</summary>
        public IEnumerable<Underside[]> Hanging()
        {
            var all = new List<Underside>();
            for (var pixel = 0; pixel < _marks.Length; pixel++)
                Add(pixel, all);
            return all.GroupBy(u => u.Layer).OrderBy(g => g.Key).Select(g => g.ToArray());
        }

        public void Mark(Underside[] layer)
        {
            for (var i = 0; i < layer.Length; i++)
                (_marks[layer[i].Pixel], _entries[layer[i].Pixel], _taken[layer[i].Pixel]) = (layer[i].Layer, i, false);
        }

        /// <summary>Hanging pixels that touch by a side, of at least so many; with the pixels around them that the layer below carries.</summary>
        public IEnumerable<(Underside[] Pixels, int[] Sides)> Parts(Underside[] layer, int least)
        {
            var stack = new Stack<int>();
            foreach (var seed in layer)
            {
                if (_taken[seed.Pixel])
                    continue;
                var part = new List<Underside>();
                var sides = new SortedSet<int>();
                Take(seed.Pixel);
                while (stack.TryPop(out var pixel))
                {
                    part.Add(layer[_entries[pixel]]);
                    Visit(pixel - 1);
                    Visit(pixel + 1);
                    Visit(pixel - raster.Width);
                    Visit(pixel + raster.Width);
                }

                if (part.Count >= least)
                    yield return ([.. part], [.. sides]);

                void Take(int pixel)
                {
                    _taken[pixel] = true;
                    stack.Push(pixel);
                }

                void Visit(int pixel)
                {
                    if (_marks[pixel] != seed.Layer)
                    {
                        if (IsSolid(pixel, seed.Layer) && IsSolid(pixel, seed.Layer - 1))
                            sides.Add(pixel);
                    }
                    else if (!_taken[pixel])
                    {
                        Take(pixel);
                    }
                }
            }
        }

        /// <summary>The longest span of a part, or null where none is over the limit.</summary>
        public Bridge? Longest((Underside[] Pixels, int[] Sides) part, double limitMm)
        {
            if (part.Sides.Length < 2)
                return null;
            // Between pixel edges: half a pixel at either end.
            var least = ((limitMm / raster.PixelMm) + 1) / 2;
            var wide = part.Pixels.Select(p => (p.Pixel, Side: Nearest(p.Pixel, part.Sides, out var distance), Distance: distance))
                .Where(p => p.Distance > least).OrderByDescending(p => p.Distance).ThenBy(p => p.Pixel);
            foreach (var (pixel, side, distance) in wide)
                if (Opposite(pixel, side, distance, part.Sides) is { } other)
                    return Of(part.Pixels, pixel, (Distance(side, other) - 1) * raster.PixelMm);
            return null;
        }

        private Bridge Of(Underside[] pixels, int pixel, double spanMm)
        {
            var middle = Array.Find(pixels, p => p.Pixel == pixel);
            var right = raster.CornerRightMm + (((pixel % raster.Width) + 0.5) * raster.PixelMm);
            var back = raster.CornerBackMm + (((pixel / raster.Width) + 0.5) * raster.PixelMm);
            return new(
                mesh.OriginMm + raster.Frame.ToLocal(right, back, middle.HeightMm), middle.HeightMm - (double)raster.LowestMm, spanMm,
                pixels.Length * raster.PixelMm * raster.PixelMm, middle.Layer, [.. pixels.Select(p => p.Triangle).Distinct().Order()]);
        }

        private int Nearest(int pixel, int[] sides, out double distance)
        {
            var (nearest, least) = (-1, long.MaxValue);
            foreach (var side in sides)
                if (Squared(pixel, side) is var squared && squared < least)
                    (nearest, least) = (side, squared);
            distance = Math.Sqrt(least);
            return nearest;
        }

        /// <summary>The nearest side of those that lie opposite to another, near enough and in sight.</summary>
        private int? Opposite(int pixel, int side, double distance, int[] sides)
        {
            var (best, least) = ((int?)null, OppositeReach * distance);
            var (x, y) = Step(pixel, side);
            foreach (var other in sides)
            {
                var far = Distance(pixel, other);
                if (far >= least)
                    continue;
                var (u, v) = Step(pixel, other);
                if (((x * u) + (y * v)) / (distance * far) < CosOpposite && IsInSight(pixel, other, far))
                    (best, least) = (other, far);
            }

            return best;
        }

        private bool IsInSight(int from, int to, double far)
        {
            var (x, y) = Step(from, to);
            var steps = (int)(2 * far);
            // The last pixel on the way may be a neighbour of the side.
            for (var i = 1; i < steps - 2; i++)
                if (_marks[from + ((int)Math.Round(y * i / steps) * raster.Width) + (int)Math.Round(x * i / steps)] != _marks[from])
                    return false;

            return true;
        }

        private (double X, double Y) Step(int from, int to) => ((to % raster.Width) - (from % raster.Width), (to / raster.Width) - (from / raster.Width));

        private long Squared(int one, int other)
        {
            long x = (one % raster.Width) - (other % raster.Width), y = (one / raster.Width) - (other / raster.Width);
            return (x * x) + (y * y);
        }

        private double Distance(int one, int other) => Math.Sqrt(Squared(one, other));

        private double MiddleOf(int layer) => raster.LowestMm + ((layer - 0.5) * layerHeightMm);

        private void Add(int pixel, List<Underside> all)
        {
            var inside = 0;
            var below = double.NegativeInfinity;
            foreach (var crossing in raster.At(pixel))
            {
                if (!crossing.Entering)
                {
                    if (--inside == 0)
                        below = crossing.HeightMm;
                    continue;
                }

                if (inside++ > 0)
                    continue;
                // The first layer whose middle lies in it.
                var layer = (int)Math.Ceiling(((crossing.HeightMm - (double)raster.LowestMm) / layerHeightMm) + 0.5);
                if (layer > 1 && below < MiddleOf(layer - 1) && IsSolid(pixel, layer))
                    all.Add(new(layer, pixel, crossing.Triangle, crossing.HeightMm));
            }
        }

        private bool IsSolid(int pixel, int layer)
        {
            var (inside, at) = (0, MiddleOf(layer));
            foreach (var crossing in raster.At(pixel))
            {
                if (crossing.HeightMm > at)
                    break;
                inside += crossing.Entering ? 1 : -1;
            }

            return inside > 0;
        }
    }
}

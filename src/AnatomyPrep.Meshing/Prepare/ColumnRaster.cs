using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Meshing.Prepare;

/// <summary>Where upright lines through the centres of square pixels cross a surface; used again for any number of directions.</summary>
/// <remarks>
/// Method: layered depth image, J. Shade, S. Gortler, L. He and R. Szeliski, SIGGRAPH 1998 (from memory), filled by edge functions
///   (J. Pineda, SIGGRAPH 1988). Corners are rounded to 1/1024 pixel and the edge functions are whole numbers, so that a line
///   through an edge that two triangles share meets exactly one of them (top-left rule): along a line through a closed surface
///   entering and leaving take turns.
/// Error: an area or volume summed over pixels is that of a midpoint rule; see <see cref="SupportNeed"/> for how it is stated.
/// Cost: O(vertices + triangles + crossings); memory 12 bytes a vertex, 4 a pixel, 24 a crossing. One thread: callers run one
/// raster per direction side by side. Same crossings in the same order each time.
/// </remarks>
internal sealed class ColumnRaster
{
    private const int FineBits = 10;
    private const int Fine = 1 << FineBits;

    // Edge functions are products of two coordinates below 2^31.
    private const int MostPixels = 1 << 15;

    private int[] _x = [];
    private int[] _y = [];
    private float[] _height = [];
    private int[] _start = [];
    private Crossing[] _found = [];
    private Crossing[] _sorted = [];
    private int _count;

    public UpFrame Frame { get; private set; }

    public double PixelMm { get; private set; }

    public int Width { get; private set; }

    public int Depth { get; private set; }

    /// <summary>Lowest and highest vertex above the mesh's origin, along up.</summary>
    public float LowestMm { get; private set; }

    public float HighestMm { get; private set; }

    /// <summary>Right and back of the outer corner of pixel (0, 0), in mm from the mesh's origin.</summary>
    public double CornerRightMm { get; private set; }

    public double CornerBackMm { get; private set; }

    /// <summary>Height of every vertex above the mesh's origin.</summary>
    public ReadOnlySpan<float> Heights => _height;

    /// <summary>Crossings of a pixel's line, lowest first.</summary>
    public ReadOnlySpan<Crossing> At(int pixel) => _sorted.AsSpan(_start[pixel], _start[pixel + 1] - _start[pixel]);

    /// <summary>Pixel that holds a vertex.</summary>
    public int PixelOf(int vertex) => ((_y[vertex] >> FineBits) * Width) + (_x[vertex] >> FineBits);

    /// <summary>Pixel that holds the middle of a triangle.</summary>
    public int PixelOf(int a, int b, int c) => (((_y[a] + _y[b] + _y[c]) / 3 >> FineBits) * Width) + ((_x[a] + _x[b] + _x[c]) / 3 >> FineBits);

    /// <summary>A pixel size at which the raster has about <paramref name="pixels"/> pixels along the diagonal of the bounds.</summary>
    public static double PixelFor(Mesh mesh, double pixels) => Math.Max(1e-3, mesh.BoundsMm().Diagonal / pixels);

    /// <param name="border">Empty pixels around.</param>
    /// <exception cref="OperationCanceledException">Asked before it begins.</exception>
    public void Cast(Mesh mesh, UpFrame frame, double pixelMm, RunContext run, int border = 0)
    {
        run.ThrowIfCancelled();
        (Frame, PixelMm) = (frame, pixelMm);
        Project(mesh, border);
        Find(mesh);
        Sort();
    }

    private void Project(Mesh mesh, int border)
    {
        var n = mesh.VertexCount;
        if (_x.Length < n)
            (_x, _y, _height) = (new int[n], new int[n], new float[n]);
        var p = mesh.PositionArray;
        var (r, b, u) = (Frame.Right, Frame.Back, Frame.Up);
        double right0 = double.PositiveInfinity, back0 = right0, right1 = double.NegativeInfinity, back1 = right1;
        float low = float.PositiveInfinity, high = float.NegativeInfinity;
        for (var v = 0; v < n; v++)
        {
            double x = p[3 * v], y = p[(3 * v) + 1], z = p[(3 * v) + 2];
            double right = (x * r.X) + (y * r.Y) + (z * r.Z), back = (x * b.X) + (y * b.Y) + (z * b.Z);
            var height = (float)((x * u.X) + (y * u.Y) + (z * u.Z));
            (right0, right1) = (Math.Min(right0, right), Math.Max(right1, right));
            (back0, back1) = (Math.Min(back0, back), Math.Max(back1, back));
            (low, high) = (Math.Min(low, height), Math.Max(high, height));
            _height[v] = height;
        }

        (LowestMm, HighestMm) = (low, high);
        Width = Pixels(right1 - right0, border);
        Depth = Pixels(back1 - back0, border);
        // The spare of the last pixel goes to both sides alike.
        CornerRightMm = ((right0 + right1) / 2) - (Width * PixelMm / 2);
        CornerBackMm = ((back0 + back1) / 2) - (Depth * PixelMm / 2);
        var scale = Fine / PixelMm;
        double shiftX = 0.5 - (CornerRightMm * scale), shiftY = 0.5 - (CornerBackMm * scale);
        for (var v = 0; v < n; v++)
        {
            double x = p[3 * v], y = p[(3 * v) + 1], z = p[(3 * v) + 2];
            _x[v] = (int)((((x * r.X) + (y * r.Y) + (z * r.Z)) * scale) + shiftX);
            _y[v] = (int)((((x * b.X) + (y * b.Y) + (z * b.Z)) * scale) + shiftY);
        }
    }

    private int Pixels(double extentMm, int border)
    {
        var pixels = Math.Ceiling(extentMm / PixelMm) + 1 + (2 * border);
        return pixels <= MostPixels ? (int)pixels : throw new ArgumentOutOfRangeException(nameof(extentMm), pixels, "More pixels than a raster may have along a side.");
    }

    private void Find(Mesh mesh)
    {
        _count = 0;
        var triangles = mesh.TriangleArray;
        for (int h = 0, t = 0; h < triangles.Length; h += 3, t++)
        {
            int a = triangles[h], b = triangles[h + 1], c = triangles[h + 2];
            int xa = _x[a], xb = _x[b], xc = _x[c];
            var left = (Math.Min(xa, Math.Min(xb, xc)) + (Fine / 2) - 1) >> FineBits;
            var right = (Math.Max(xa, Math.Max(xb, xc)) - (Fine / 2)) >> FineBits;
            if (left > right)
                continue;
            int ya = _y[a], yb = _y[b], yc = _y[c];
            var front = (Math.Min(ya, Math.Min(yb, yc)) + (Fine / 2) - 1) >> FineBits;
            var back = (Math.Max(ya, Math.Max(yb, yc)) - (Fine / 2)) >> FineBits;
            if (front <= back)
                Fill(t, a, b, c, left, right, front, back);
        }
    }

    private void Fill(int triangle, int a, int b, int c, int left, int right, int front, int back)
    {
        var area = Edge(a, b, _x[c], _y[c]);
        if (area == 0)
            return;
        var entering = area < 0;
        if (entering)
            (b, c, area) = (c, b, -area);
        long ruleA = Rule(b, c), ruleB = Rule(c, a), ruleC = Rule(a, b);
        double heightA = _height[a], slopeB = (_height[b] - heightA) / area, slopeC = (_height[c] - heightA) / area;
        for (var row = front; row <= back; row++)
            for (var column = left; column <= right; column++)
            {
                long x = ((long)column << FineBits) + (Fine / 2), y = ((long)row << FineBits) + (Fine / 2);
                long edgeA = Edge(b, c, x, y), edgeB = Edge(c, a, x, y), edgeC = Edge(a, b, x, y);
                if (((edgeA + ruleA) | (edgeB + ruleB) | (edgeC + ruleC)) < 0)
                    continue;
                if (_count == _found.Length)
                    Array.Resize(ref _found, Math.Max(4096, 2 * _count));
                _found[_count++] = new((row * Width) + column, (float)(heightA + (edgeB * slopeB) + (edgeC * slopeC)), triangle, entering);
            }
    }

    /// <summary>Twice the signed area of from, to and a point.</summary>
    private long Edge(int from, int to, long x, long y) =>
        ((_x[to] - (long)_x[from]) * (y - _y[from])) - ((_y[to] - (long)_y[from]) * (x - _x[from]));

    // An edge belongs to one of its two sides, whichever way it is run through.
    private long Rule(int from, int to) => _y[to] < _y[from] || (_y[to] == _y[from] && _x[to] > _x[from]) ? 0 : -1;

    private void Sort()
    {
        var pixels = Width * Depth;
        if (_start.Length < pixels + 1)
            _start = new int[pixels + 1];
        Array.Clear(_start, 0, pixels + 1);
        if (_sorted.Length < _count)
            _sorted = new Crossing[_found.Length];
        for (var i = 0; i < _count; i++)
            _start[_found[i].Pixel + 1]++;
        for (var i = 0; i < pixels; i++)
            _start[i + 1] += _start[i];
        for (var i = 0; i < _count; i++)
            _sorted[_start[_found[i].Pixel]++] = _found[i];
        for (var i = pixels; i > 0; i--)
            _start[i] = _start[i - 1];
        _start[0] = 0;
        for (var i = 0; i < pixels; i++)
            SortByHeight(_sorted.AsSpan(_start[i], _start[i + 1] - _start[i]));
    }

    private static void SortByHeight(Span<Crossing> crossings)
    {
        for (var i = 1; i < crossings.Length; i++)
        {
            var crossing = crossings[i];
            var j = i - 1;
            for (; j >= 0 && crossings[j].HeightMm > crossing.HeightMm; j--)
                crossings[j + 1] = crossings[j];
            crossings[j + 1] = crossing;
        }
    }
}

/// <summary>Where an upright line meets the surface.</summary>
/// <param name="HeightMm">Above the mesh's origin, along up.</param>
/// <param name="Entering">From below into the solid: the triangle faces down.</param>
internal readonly record struct Crossing(int Pixel, float HeightMm, int Triangle, bool Entering);

using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>Which triangle is seen at the centre of every pixel, and how near it is.</summary>
/// <remarks>
/// Method: edge functions, Pineda, "A Parallel Algorithm for Polygon Rasterization", SIGGRAPH 1988, with a depth buffer.
/// Vertices are rounded to 1/256 pixel and the edge functions are whole numbers, so a pixel centre on an edge that two
/// triangles share belongs to exactly one of them (top-left rule): no gaps, no double hits. Both sides of a triangle are
/// drawn. At equal depth the lower triangle number wins.
/// Parallel: triangles are counted per band of rows, placed by prefix sum (count, sum, fill), and every band draws its own
/// list in triangle order, so every number of threads gives the same picture.
/// Error: 1/512 pixel in x and y; depth in float. Cost: O(triangles + covered pixels); memory 16 bytes a vertex, 4 bytes a
/// triangle and band it meets, 8 bytes a pixel.
/// </remarks>
internal sealed class DepthRaster
{
    internal const int None = -1;

    /// <summary>Sub-pixel steps.</summary>
    internal const int Fine = 256;

    private const int BandRows = 32;
    private const int PieceTriangles = 1 << 15;
    private const int PieceVertices = 1 << 16;

    private readonly Mesh _mesh;
    private readonly int[] _x;
    private readonly int[] _y;
    private readonly float[] _depth;

    private DepthRaster(Mesh mesh, ViewFrame frame)
    {
        _mesh = mesh;
        Frame = frame;
        _x = new int[mesh.VertexCount];
        _y = new int[mesh.VertexCount];
        _depth = new float[mesh.VertexCount];
        DepthMm = new float[frame.Width * frame.Height];
        Triangle = new int[frame.Width * frame.Height];
        Array.Fill(DepthMm, float.NegativeInfinity);
        Array.Fill(Triangle, None);
    }

    internal ViewFrame Frame { get; }

    /// <summary>Toward the viewer, from the frame's centre; negative infinity where nothing is.</summary>
    internal float[] DepthMm { get; }

    /// <summary>Number of the seen triangle, or <see cref="None"/>.</summary>
    internal int[] Triangle { get; }

    /// <exception cref="OperationCanceledException">Asked once per 32,768 triangles and per band.</exception>
    internal static DepthRaster Draw(Mesh mesh, ViewFrame frame, RunContext run)
    {
        var raster = new DepthRaster(mesh, frame);
        raster.Project(run);
        var (list, starts) = raster.Distribute(run);
        Partition.For(run, starts.Length - 1, band =>
        {
            for (var n = starts[band]; n < starts[band + 1]; n++)
                raster.Draw(list[n], band * BandRows, Math.Min((band + 1) * BandRows, frame.Height) - 1);
        });
        return raster;
    }

    /// <summary>Weights of a triangle's corners at the centre of a pixel; they sum to 1.</summary>
    internal (double A, double B, double C) Weights(int triangle, int column, int row)
    {
        var (a, b, c) = _mesh.Triangle(triangle);
        long x = (column * Fine) + (Fine / 2), y = (row * Fine) + (Fine / 2);
        double area = Edge(a, b, _x[c], _y[c]);
        double u = Edge(b, c, x, y) / area, v = Edge(c, a, x, y) / area;
        return (u, v, 1 - u - v);
    }

    private void Project(RunContext run) => Partition.Ranges(run, _mesh.VertexCount, PieceVertices, (_, from, to) =>
    {
        var (right, up, toward) = (Frame.View.Right * (Frame.PixelsPerMm * Fine), Frame.View.Up * (Frame.PixelsPerMm * Fine), Frame.View.Toward);
        var center = Frame.CenterMm - _mesh.OriginMm;
        double middleX = Frame.Width * (Fine / 2.0), middleY = Frame.Height * (Fine / 2.0);
        for (var v = from; v < to; v++)
        {
            var p = _mesh.Local(v) - center;
            _x[v] = (int)Math.Round(middleX + Vec3.Dot(p, right));
            _y[v] = (int)Math.Round(middleY - Vec3.Dot(p, up));
            _depth[v] = (float)Vec3.Dot(p, toward);
        }
    });

    /// <summary>Triangle numbers band after band, and where each band starts.</summary>
    private (int[] List, int[] Starts) Distribute(RunContext run)
    {
        var bands = Partition.Pieces(Frame.Height, BandRows);
        var pieces = Partition.Pieces(_mesh.TriangleCount, PieceTriangles);
        var at = new int[bands * pieces];
        Partition.Ranges(run, _mesh.TriangleCount, PieceTriangles, (piece, from, to) =>
        {
            for (var t = from; t < to; t++)
            {
                var (first, last) = Bands(t);
                for (var band = first; band <= last; band++)
                    at[(band * pieces) + piece]++;
            }
        });

        var starts = new int[bands + 1];
        var total = 0;
        for (var n = 0; n < at.Length; n++)
        {
            if (n % pieces == 0)
                starts[n / pieces] = total;
            (at[n], total) = (total, checked(total + at[n]));
        }

        starts[bands] = total;
        var list = new int[total];
        Partition.Ranges(run, _mesh.TriangleCount, PieceTriangles, (piece, from, to) =>
        {
            for (var t = from; t < to; t++)
            {
                var (first, last) = Bands(t);
                for (var band = first; band <= last; band++)
                    list[at[(band * pieces) + piece]++] = t;
            }
        });
        return (list, starts);
    }

    /// <summary>Bands whose pixel centres a triangle can cover; last below first where it covers none.</summary>
    private (int First, int Last) Bands(int triangle)
    {
        var (a, b, c) = _mesh.Triangle(triangle);
        var (left, right) = Centres(_x[a], _x[b], _x[c], 0, Frame.Width - 1);
        var (top, bottom) = Centres(_y[a], _y[b], _y[c], 0, Frame.Height - 1);
        return left > right || top > bottom ? (0, -1) : (top / BandRows, bottom / BandRows);
    }

    /// <summary>First and last pixel whose centre lies between the smallest and the largest of three positions.</summary>
    private static (int First, int Last) Centres(int a, int b, int c, int lowest, int highest)
    {
        int min = Math.Min(a, Math.Min(b, c)), max = Math.Max(a, Math.Max(b, c));
        return (Math.Max(lowest, (min + (Fine / 2) - 1) >> 8), Math.Min(highest, (max - (Fine / 2)) >> 8));
    }

    private void Draw(int triangle, int firstRow, int lastRow)
    {
        var (a, b, c) = _mesh.Triangle(triangle);
        var area = Edge(a, b, _x[c], _y[c]);
        if (area == 0)
            return;
        if (area < 0)
            (b, c, area) = (c, b, -area);
        var (left, right) = Centres(_x[a], _x[b], _x[c], 0, Frame.Width - 1);
        var (top, bottom) = Centres(_y[a], _y[b], _y[c], firstRow, lastRow);
        long ruleA = Rule(b, c), ruleB = Rule(c, a), ruleC = Rule(a, b);
        long stepA = (_y[b] - _y[c]) * (long)Fine, stepB = (_y[c] - _y[a]) * (long)Fine, stepC = (_y[a] - _y[b]) * (long)Fine;
        double depthA = _depth[a], slopeB = (_depth[b] - depthA) / area, slopeC = (_depth[c] - depthA) / area;
        for (var row = top; row <= bottom; row++)
        {
            long x = (left * Fine) + (Fine / 2), y = (row * Fine) + (Fine / 2);
            long edgeA = Edge(b, c, x, y), edgeB = Edge(c, a, x, y), edgeC = Edge(a, b, x, y);
            var pixel = (row * Frame.Width) + left;
            for (var column = left; column <= right; column++, pixel++)
            {
                if (((edgeA + ruleA) | (edgeB + ruleB) | (edgeC + ruleC)) >= 0)
                {
                    var depth = (float)(depthA + (edgeB * slopeB) + (edgeC * slopeC));
                    if (depth > DepthMm[pixel])
                    {
                        DepthMm[pixel] = depth;
                        Triangle[pixel] = triangle;
                    }
                }

                edgeA += stepA;
                edgeB += stepB;
                edgeC += stepC;
            }
        }
    }

    /// <summary>Twice the signed area of from, to and a point; positive to the right of the edge, y running down.</summary>
    private long Edge(int from, int to, long x, long y) =>
        ((_x[to] - _x[from]) * (y - _y[from])) - ((_y[to] - _y[from]) * (x - _x[from]));

    /// <summary>0 for a top or left edge, which owns its points; -1 for the others.</summary>
    private long Rule(int from, int to) =>
        _y[to] < _y[from] || (_y[to] == _y[from] && _x[to] > _x[from]) ? 0 : -1;
}

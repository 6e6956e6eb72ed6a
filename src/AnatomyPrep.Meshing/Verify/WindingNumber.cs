using AnatomyPrep.Core.Geometry;
using AnatomyPrep.Core.Meshes;
using AnatomyPrep.Core.Running;
using AnatomyPrep.Meshing.Spatial;

namespace AnatomyPrep.Meshing.Verify;

/// <summary>How often a surface winds around a point: 1 inside a closed outward surface, 0 outside, in between where it is open.</summary>
/// <remarks>
/// Method: A. Jacobson, L. Kavan, O. Sorkine-Hornung, "Robust Inside-Outside Segmentation using Generalized Winding Numbers", ACM
///   TOG 32(4) (2013): sum of the signed solid angles of all triangles over 4π, each by A. van Oosterom and J. Strackee, "The
///   Solid Angle of a Plane Triangle", IEEE Trans. Biomed. Eng. 30 (1983). Far groups of triangles by G. Barill et al., "Fast
///   Winding Numbers for Soups and Clouds", ACM TOG 37(4) (2018): their dipole and its first and second derivative about their
///   centre. The kernel's derivatives are symmetric in all indices, so only symmetric moments are kept.
///   Groups are the runs of 8, 64, 512 … triangles in the order of <see cref="TriangleTree.Order"/>.
/// Error: a group is taken as one when the point is more than <see cref="FarRadii"/> of its radii away; on the tests' surfaces the
///   sum is then off by less than 0.005, most near the centre of a ball, where all groups err alike, else below 0.001
///   (<see cref="Exact"/>: rounding only).
/// Needs consistent orientation, nothing else: open, crossing and doubled surfaces are fine.
/// Cost: 10 to 20 µs a point and core on 100,000 triangles, growing with the logarithm. Memory: 27 bytes a triangle beside the tree.
/// Same numbers on any number of threads.
/// </remarks>
public sealed class WindingNumber
{
    /// <summary>Distance in radii from which a group of triangles is taken as one.</summary>
    public const double FarRadii = 3;

    private const int Width = 8;
    private const int PieceGroups = 1 << 11;
    private const int PiecePoints = 256;

    private readonly TriangleTree _tree;
    private readonly Group[][] _levels;

    private WindingNumber(TriangleTree tree, Group[][] levels)
    {
        _tree = tree;
        _levels = levels;
    }

    public static WindingNumber Of(TriangleTree tree, RunContext run)
    {
        var levels = new List<Group[]> { OfTriangles(tree, run) };
        while (levels[^1].Length > 1)
            levels.Add(OfGroups(levels[^1], run));
        return new(tree, [.. levels]);
    }

    /// <summary>The sum over all triangles, one by one.</summary>
    public static double Exact(Mesh mesh, Vec3 pointMm)
    {
        var p = pointMm - mesh.OriginMm;
        double sum = 0;
        for (var t = 0; t < mesh.TriangleCount; t++)
            sum += SolidAngleRad(mesh, t, p);
        return sum / (4 * Math.PI);
    }

    public double At(Vec3 pointMm)
    {
        var p = pointMm - _tree.Mesh.OriginMm;
        return Sum(_levels.Length - 1, 0, p) / (4 * Math.PI);
    }

    public double[] At(Vec3[] pointsMm, RunContext run)
    {
        var numbers = new double[pointsMm.Length];
        Partition.Ranges(run, pointsMm.Length, PiecePoints, (_, from, to) =>
        {
            for (var i = from; i < to; i++)
                numbers[i] = At(pointsMm[i]);
        });
        return numbers;
    }

    private double Sum(int level, int index, in Vec3 p)
    {
        ref readonly var group = ref _levels[level][index];
        var toCenter = group.Center - p;
        var distance2 = toCenter.LengthSquared;
        if (distance2 > FarRadii * FarRadii * group.Radius * group.Radius)
            return group.FarSolidAngleRad(toCenter, distance2);
        double sum = 0;
        if (level == 0)
        {
            var order = _tree.Order;
            for (var i = index * Width; i < Math.Min(order.Length, (index + 1) * Width); i++)
                sum += SolidAngleRad(_tree.Mesh, order[i], p);
            return sum;
        }

        for (var i = index * Width; i < Math.Min(_levels[level - 1].Length, (index + 1) * Width); i++)
            sum += Sum(level - 1, i, p);
        return sum;
    }

    private static double SolidAngleRad(Mesh mesh, int triangle, in Vec3 p)
    {
        var (i, j, k) = mesh.Triangle(triangle);
        Vec3 a = mesh.Local(i) - p, b = mesh.Local(j) - p, c = mesh.Local(k) - p;
        double la = a.Length, lb = b.Length, lc = c.Length;
        var numerator = Vec3.Dot(a, Vec3.Cross(b, c));
        var denominator = (la * lb * lc) + (Vec3.Dot(a, b) * lc) + (Vec3.Dot(b, c) * la) + (Vec3.Dot(c, a) * lb);
        return numerator == 0 ? 0 : 2 * Math.Atan2(numerator, denominator);
    }

    private static Group[] OfTriangles(TriangleTree tree, RunContext run)
    {
        var count = tree.Order.Length;
        var groups = new Group[Partition.Pieces(count, Width)];
        Partition.Ranges(run, groups.Length, PieceGroups, (_, from, to) =>
        {
            for (var g = from; g < to; g++)
                groups[g] = OfRun(tree, g * Width, Math.Min(count, (g + 1) * Width));
        });
        return groups;
    }

    private static Group OfRun(TriangleTree tree, int from, int to)
    {
        var mesh = tree.Mesh;
        Vec3 center = Vec3.Zero, plain = Vec3.Zero;
        double area = 0;
        for (var i = from; i < to; i++)
        {
            var (middle, areaNormal) = MiddleAndAreaNormal(mesh, tree.Order[i]);
            center += middle * areaNormal.Length;
            area += areaNormal.Length;
            plain += middle;
        }

        var group = new Group { Area = area, Center = area > 0 ? center / area : plain / (to - from) };
        for (var i = from; i < to; i++)
        {
            var (middle, areaNormal) = MiddleAndAreaNormal(mesh, tree.Order[i]);
            group.Add(areaNormal, middle - group.Center);
            var (a, b, c) = mesh.Triangle(tree.Order[i]);
            foreach (var corner in (ReadOnlySpan<Vec3>)[mesh.Local(a), mesh.Local(b), mesh.Local(c)])
            {
                // The mean of δδᵀ over a triangle is a twelfth of its sum over the corners.
                group.AddSecond((corner - middle) / 12, corner - middle, areaNormal);
                group.Reach(corner, 0);
            }
        }

        return group;
    }

    private static Group[] OfGroups(Group[] below, RunContext run)
    {
        var groups = new Group[Partition.Pieces(below.Length, Width)];
        Partition.Ranges(run, groups.Length, PieceGroups, (_, from, to) =>
        {
            for (var g = from; g < to; g++)
                groups[g] = Joined(below.AsSpan(g * Width, Math.Min(Width, below.Length - (g * Width))));
        });
        return groups;
    }

    private static Group Joined(ReadOnlySpan<Group> parts)
    {
        Vec3 center = Vec3.Zero, plain = Vec3.Zero;
        double area = 0;
        foreach (ref readonly var part in parts)
        {
            center += part.Center * part.Area;
            area += part.Area;
            plain += part.Center;
        }

        var group = new Group { Area = area, Center = area > 0 ? center / area : plain / parts.Length };
        foreach (ref readonly var part in parts)
        {
            group.Add(part, part.Center - group.Center);
            group.Reach(part.Center, part.Radius);
        }

        return group;
    }

    private static (Vec3 Middle, Vec3 AreaNormal) MiddleAndAreaNormal(Mesh mesh, int triangle)
    {
        var (i, j, k) = mesh.Triangle(triangle);
        Vec3 a = mesh.Local(i), b = mesh.Local(j), c = mesh.Local(k);
        return ((a + b + c) / 3, Vec3.Cross(b - a, c - a) * 0.5);
    }

    /// <summary>Triangles seen from afar: where, how large, summed area normals, and how those are spread about the centre.</summary>
    private struct Group
    {
        public Vec3 Center;
        public double Radius;
        public double Area;
        private Vec3 _normal;

        // Symmetric parts of Σ offset ⊗ area normal and of Σ offset ⊗ offset ⊗ area normal; the rest has no effect.
        private double _xx, _yy, _zz, _xy, _yz, _zx;
        private double _xxx, _yyy, _zzz, _xxy, _xxz, _yyx, _yyz, _zzx, _zzy, _xyz;

        public void Add(in Vec3 areaNormal, in Vec3 offset)
        {
            _normal += areaNormal;
            _xx += offset.X * areaNormal.X;
            _yy += offset.Y * areaNormal.Y;
            _zz += offset.Z * areaNormal.Z;
            _xy += 0.5 * ((offset.X * areaNormal.Y) + (offset.Y * areaNormal.X));
            _yz += 0.5 * ((offset.Y * areaNormal.Z) + (offset.Z * areaNormal.Y));
            _zx += 0.5 * ((offset.Z * areaNormal.X) + (offset.X * areaNormal.Z));
            AddSecond(offset, offset, areaNormal);
        }

        /// <summary>Adds the symmetric part of a ⊗ b ⊗ c to the second moments.</summary>
        public void AddSecond(in Vec3 a, in Vec3 b, in Vec3 c)
        {
            _xxx += a.X * b.X * c.X;
            _yyy += a.Y * b.Y * c.Y;
            _zzz += a.Z * b.Z * c.Z;
            _xxy += ((a.X * b.X * c.Y) + (a.X * b.Y * c.X) + (a.Y * b.X * c.X)) / 3;
            _xxz += ((a.X * b.X * c.Z) + (a.X * b.Z * c.X) + (a.Z * b.X * c.X)) / 3;
            _yyx += ((a.Y * b.Y * c.X) + (a.Y * b.X * c.Y) + (a.X * b.Y * c.Y)) / 3;
            _yyz += ((a.Y * b.Y * c.Z) + (a.Y * b.Z * c.Y) + (a.Z * b.Y * c.Y)) / 3;
            _zzx += ((a.Z * b.Z * c.X) + (a.Z * b.X * c.Z) + (a.X * b.Z * c.Z)) / 3;
            _zzy += ((a.Z * b.Z * c.Y) + (a.Z * b.Y * c.Z) + (a.Y * b.Z * c.Z)) / 3;
            _xyz += ((a.X * ((b.Y * c.Z) + (b.Z * c.Y))) + (a.Y * ((b.X * c.Z) + (b.Z * c.X))) + (a.Z * ((b.X * c.Y) + (b.Y * c.X)))) / 6;
        }

        public void Add(in Group part, in Vec3 offset)
        {
            Add(part._normal, offset);
            AddShifted(part, offset * 2);
            _xx += part._xx;
            _yy += part._yy;
            _zz += part._zz;
            _xy += part._xy;
            _yz += part._yz;
            _zx += part._zx;
            _xxx += part._xxx;
            _yyy += part._yyy;
            _zzz += part._zzz;
            _xxy += part._xxy;
            _xxz += part._xxz;
            _yyx += part._yyx;
            _yyz += part._yyz;
            _zzx += part._zzx;
            _zzy += part._zzy;
            _xyz += part._xyz;
        }

        /// <summary>Symmetric part of shift ⊗ first moments: what moving the centre adds to the second ones.</summary>
        private void AddShifted(in Group part, in Vec3 shift)
        {
            AddSecond(shift, new(1, 0, 0), new(part._xx, part._xy, part._zx));
            AddSecond(shift, new(0, 1, 0), new(part._xy, part._yy, part._yz));
            AddSecond(shift, new(0, 0, 1), new(part._zx, part._yz, part._zz));
        }

        public void Reach(in Vec3 point, double radius) => Radius = Math.Max(Radius, (point - Center).Length + radius);

        /// <summary>n·r/|r|³ + (tr M − 3 M(r, r)/|r|²)/|r|³ + (7.5 S(r, r, r)/|r|² − 4.5 tr S·r)/|r|⁵ with r from the point to the centre.</summary>
        public readonly double FarSolidAngleRad(in Vec3 r, double r2)
        {
            double x = r.X, y = r.Y, z = r.Z;
            var cube = r2 * Math.Sqrt(r2);
            var first = (x * x * _xx) + (y * y * _yy) + (z * z * _zz) + (2 * ((x * y * _xy) + (y * z * _yz) + (z * x * _zx)));
            var second = (x * x * ((x * _xxx) + (3 * ((y * _xxy) + (z * _xxz)))))
                + (y * y * ((y * _yyy) + (3 * ((x * _yyx) + (z * _yyz)))))
                + (z * z * ((z * _zzz) + (3 * ((x * _zzx) + (y * _zzy)))))
                + (6 * x * y * z * _xyz);
            var trace = (x * (_xxx + _yyx + _zzx)) + (y * (_xxy + _yyy + _zzy)) + (z * (_xxz + _yyz + _zzz));
            return (Vec3.Dot(_normal, r) + _xx + _yy + _zz - (3 * first / r2) + (((7.5 * second / r2) - (4.5 * trace)) / r2)) / cube;
        }
    }
}

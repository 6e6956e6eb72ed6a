using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Meshing.Formats;

/// <summary>Coordinates of a file, in its unit, to what a mesh stores: float32 millimetres about an origin.</summary>
/// <remarks>
/// float32 numbers in millimetres stay the very same about the origin 0. Other numbers stay about 0 too while that costs
/// less than 2^-20 of the model's diagonal; a small model farther from 0 is stored about its own middle, rounded to
/// whole millimetres, and so keeps its shape. Rounding error: half a unit in the last place of the largest stored number.
/// </remarks>
internal static class StoredPositions
{
    // float32 rounds by 2^-24 of the coordinate, so at 16 diagonals from 0 by 2^-20 of the diagonal.
    private const double FarInDiagonals = 16;

    /// <exception cref="BadInputException">A coordinate is not finite, or too large for float32, in millimetres.</exception>
    internal static (Vec3 OriginMm, float[] Positions) InMillimetres(ByteSource source, RawMesh raw, LengthUnit unit) => raw.Singles is { } singles
        ? (Vec3.Zero, Scaled(source, singles, unit.MmPer()))
        : About(source, raw.Doubles!, unit.MmPer());

    /// <exception cref="BadInputException">A coordinate is not finite, or too large for float32, in millimetres.</exception>
    internal static (Vec3 OriginMm, float[] Positions) About(ByteSource source, double[] coordinates, double mmPerUnit)
    {
        var box = Box3.Empty;
        for (var i = 0; i < coordinates.Length; i += 3)
            box = box.Including(new Vec3(coordinates[i], coordinates[i + 1], coordinates[i + 2]));
        var originMm = Vec3.Zero;
        var farthest = Math.Max(LargestMagnitude(box.Min), LargestMagnitude(box.Max));
        if (farthest > FarInDiagonals * box.Diagonal && double.IsFinite(farthest * mmPerUnit))
        {
            var middle = box.Center * mmPerUnit;
            originMm = new(Math.Round(middle.X), Math.Round(middle.Y), Math.Round(middle.Z));
        }

        var positions = GC.AllocateUninitializedArray<float>(coordinates.Length);
        for (var i = 0; i < positions.Length; i++)
            positions[i] = (float)((coordinates[i] * mmPerUnit) - originMm[i % 3]);
        return (originMm, Finite(source, positions));
    }

    private static float[] Scaled(ByteSource source, float[] singles, double mmPerUnit)
    {
        if (mmPerUnit != 1)
            for (var i = 0; i < singles.Length; i++)
                singles[i] = (float)(singles[i] * mmPerUnit);
        return Finite(source, singles);
    }

    private static float[] Finite(ByteSource source, float[] positions)
    {
        var bad = NonFinite.First(positions);
        return bad < 0 ? positions : throw RawMesh.NotFinite(source, FormattableString.Invariant($"vertex {bad / 3}"));
    }

    private static double LargestMagnitude(Vec3 p) => Math.Max(Math.Abs(p.X), Math.Max(Math.Abs(p.Y), Math.Abs(p.Z)));
}

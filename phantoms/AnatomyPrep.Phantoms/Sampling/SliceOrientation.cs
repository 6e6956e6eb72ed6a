using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Phantoms.Sampling;

/// <summary>Directions of a slice before any tilt: along a row (growing column index) and along a column (growing row index), LPS.</summary>
public readonly record struct SliceOrientation(Vec3 AlongRow, Vec3 AlongColumn)
{
    /// <summary>As CT is mostly stored: rows to the left, columns to the back, slices towards the head.</summary>
    public static SliceOrientation Axial { get; } = new(new Vec3(1, 0, 0), new Vec3(0, 1, 0));

    public static SliceOrientation Coronal { get; } = new(new Vec3(1, 0, 0), new Vec3(0, 0, -1));

    public static SliceOrientation Sagittal { get; } = new(new Vec3(0, 1, 0), new Vec3(0, 0, -1));

    /// <summary>Row direction × column direction: the way of the table before any tilt.</summary>
    public Vec3 Normal => Vec3.Cross(AlongRow, AlongColumn);

    /// <summary>All 24 ways to lay rows and columns along the axes of the patient.</summary>
    public static IReadOnlyList<SliceOrientation> AllAxisOrders()
    {
        Vec3[] axes = [new(1, 0, 0), new(-1, 0, 0), new(0, 1, 0), new(0, -1, 0), new(0, 0, 1), new(0, 0, -1)];
        return [.. from row in axes from column in axes where Vec3.Dot(row, column) == 0 select new SliceOrientation(row, column)];
    }

    /// <summary>This orientation turned about an axis, right-handed.</summary>
    public SliceOrientation Turned(Vec3 axis, double angleDeg)
    {
        var turn = Affine3.Rotate(axis, angleDeg * (Math.PI / 180));
        return new(turn.MapDirection(AlongRow), turn.MapDirection(AlongColumn));
    }
}

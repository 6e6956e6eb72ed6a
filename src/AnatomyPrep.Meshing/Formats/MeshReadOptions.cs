namespace AnatomyPrep.Meshing.Formats;

/// <summary>Which vertices of a file are joined into one.</summary>
public enum Welding
{
    /// <summary>Equal positions in STL, which has no vertices of its own; none in formats that number their vertices.</summary>
    ByFormat,

    /// <summary>None; in STL every triangle then has three vertices of its own.</summary>
    None,

    /// <summary>Vertices with equal float32 coordinates.</summary>
    Equal,

    /// <summary>Vertices no farther apart than <see cref="MeshReadOptions.WeldToleranceMm"/>.</summary>
    Within,
}

/// <summary>How a mesh or point cloud is to be read.</summary>
/// <param name="Unit">For files that state none. Null: numbers are taken as millimetres, and a finding asks.</param>
/// <param name="Anatomy">What the file shows (one of <see cref="SizePlausibility.Anatomies"/>); its size is then judged.</param>
/// <param name="WeldToleranceMm">Used with <see cref="Welding.Within"/> only.</param>
/// <param name="DropDegenerate">Leave out triangles with two corners on one vertex; a finding says how many.</param>
public sealed record MeshReadOptions(
    LengthUnit? Unit = null,
    string? Anatomy = null,
    Welding Weld = Welding.ByFormat,
    double WeldToleranceMm = 0,
    bool DropDegenerate = false)
{
    public static MeshReadOptions Default { get; } = new();
}

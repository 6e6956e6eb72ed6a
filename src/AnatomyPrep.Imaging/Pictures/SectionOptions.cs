namespace AnatomyPrep.Imaging.Pictures;

/// <summary>How section pictures look.</summary>
public sealed record SectionOptions
{
    public static SectionOptions Default { get; } = new();

    public GreyWindow Window { get; init; } = GreyWindow.Bone;

    /// <summary>Longer side of the shown part of the plane; 100 to 4000.</summary>
    public int LongSidePixels { get; init; } = 1000;

    /// <summary>How far the picture reaches beyond the model on every side.</summary>
    public double MarginMm { get; init; } = 12;

    /// <summary>Width of the line where the surface was measured; above 0, at most 20. Elsewhere it is half as wide again.</summary>
    public double OutlinePixels { get; init; } = 1.5;
}

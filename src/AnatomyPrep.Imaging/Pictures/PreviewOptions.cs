namespace AnatomyPrep.Imaging.Pictures;

/// <summary>How the preview sheet looks.</summary>
public sealed record PreviewOptions
{
    public static PreviewOptions Default { get; } = new();

    /// <summary>From left to right; at least one.</summary>
    public IReadOnlyList<ViewDirection> Views { get; init; } = [ViewDirection.Front, ViewDirection.LeftSide, ViewDirection.Oblique];

    /// <summary>Width of the sheet; 640 to 6000, and wide enough for the words under the views (959 for the usual three).</summary>
    public int WidthPixels { get; init; } = 1800;

    /// <summary>Tallest a view may get; 100 to 4000.</summary>
    public int HeightPixels { get; init; } = 720;

    /// <summary>Colours of their own; null for those of the triangles' origins.</summary>
    public TriangleColours? Colours { get; init; }
}

using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>What the letters around a view stand for.</summary>
public enum PictureAxes
{
    /// <summary>L, R, A, P, S, I: the model is where the images are.</summary>
    Patient,

    /// <summary>x, y, top and bed: the model lies as it is printed, and letters of the patient would be false.</summary>
    Machine,
}

/// <summary>A distance on a model: a line with a bar across each end.</summary>
/// <param name="Name">Short, ASCII.</param>
public sealed record PictureMark(string Name, Vec3 FromMm, Vec3 ToMm);

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

    public PictureAxes Axes { get; init; }

    /// <summary>First line of the sheet; null for the size of what is drawn.</summary>
    public string? Title { get; init; }

    /// <summary>Colours of their own; null for those of the triangles' origins.</summary>
    public TriangleColours? Colours { get; init; }

    /// <summary>Distances drawn on every view, with their names.</summary>
    public IReadOnlyList<PictureMark> Marks { get; init; } = [];
}

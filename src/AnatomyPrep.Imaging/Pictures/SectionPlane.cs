namespace AnatomyPrep.Imaging.Pictures;

/// <summary>A family of planes at right angles to one patient axis (LPS), and how it is shown.</summary>
public sealed record SectionPlane
{
    private SectionPlane(string name, int axis, ViewDirection view)
    {
        Name = name;
        Axis = axis;
        View = view;
    }

    /// <summary>Seen from the feet: the patient's left on the viewer's right, front on top.</summary>
    public static SectionPlane Axial { get; } = new("axial", 2, ViewDirection.Below);

    /// <summary>Seen from the front: the patient's left on the viewer's right, head on top.</summary>
    public static SectionPlane Coronal { get; } = new("coronal", 1, ViewDirection.Front);

    /// <summary>Seen from the left: front on the viewer's left, head on top.</summary>
    public static SectionPlane Sagittal { get; } = new("sagittal", 0, ViewDirection.LeftSide);

    public static IReadOnlyList<SectionPlane> All { get; } = [Axial, Coronal, Sagittal];

    public string Name { get; }

    /// <summary>0 for x, 1 for y, 2 for z: the coordinate that is the same all over the plane.</summary>
    public int Axis { get; }

    public ViewDirection View { get; }
}

using AnatomyPrep.Core.Geometry;

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>From where a picture is seen: unit vectors in LPS that point right, up and out of the picture; right × up = toward.</summary>
public sealed record ViewDirection
{
    private ViewDirection(string name, string description, Vec3 toward, Vec3 up)
    {
        Name = name;
        Description = description;
        Toward = toward.Normalized();
        Right = Vec3.Cross(up, Toward).Normalized();
        Up = Vec3.Cross(Toward, Right);
    }

    public static ViewDirection Front { get; } = new("front", "from the front", new Vec3(0, -1, 0), new Vec3(0, 0, 1));

    public static ViewDirection Back { get; } = new("back", "from behind", new Vec3(0, 1, 0), new Vec3(0, 0, 1));

    public static ViewDirection LeftSide { get; } = new("left", "from the left side", new Vec3(1, 0, 0), new Vec3(0, 0, 1));

    public static ViewDirection RightSide { get; } = new("right", "from the right side", new Vec3(-1, 0, 0), new Vec3(0, 0, 1));

    public static ViewDirection Above { get; } = new("above", "from above", new Vec3(0, 0, 1), new Vec3(0, -1, 0));

    public static ViewDirection Below { get; } = new("below", "from below", new Vec3(0, 0, -1), new Vec3(0, -1, 0));

    public static ViewDirection Oblique { get; } = new("oblique", "from the front, left and above", new Vec3(0.62, -1, 0.38), new Vec3(0, 0, 1));

    public string Name { get; }

    /// <summary>Completes "seen ...".</summary>
    public string Description { get; }

    /// <summary>Out of the picture, toward the person who looks at it.</summary>
    public Vec3 Toward { get; }

    public Vec3 Right { get; }

    public Vec3 Up { get; }

    /// <summary>Completes "seen ..." where x, y and z are a machine's.</summary>
    public string MachineDescription => Name switch
    {
        "left" => "from +x",
        "right" => "from -x",
        "oblique" => "from the front, +x and above",
        _ => Description,
    };

    /// <summary>+x, -x, +y, -y, top or bed where the direction runs along an axis of the machine; null where it is oblique.</summary>
    public static string? MachineLetter(Vec3 direction) => Letter(direction) switch
    {
        "L" => "+x",
        "R" => "-x",
        "P" => "+y",
        "A" => "-y",
        "H" => "top",
        "F" => "bed",
        _ => null,
    };

    /// <summary>L, R, A, P, H or F (DICOM PS3.3, C.7.6.1.1.1) where the direction runs along a patient axis; null where it is oblique.</summary>
    public static string? Letter(Vec3 direction)
    {
        var d = direction.Normalized();
        const double Along = 0.999;
        return d switch
        {
            { X: > Along } => "L",
            { X: < -Along } => "R",
            { Y: > Along } => "P",
            { Y: < -Along } => "A",
            { Z: > Along } => "H",
            { Z: < -Along } => "F",
            _ => null,
        };
    }
}

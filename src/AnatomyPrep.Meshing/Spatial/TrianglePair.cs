namespace AnatomyPrep.Meshing.Spatial;

/// <summary>Two triangles and how they meet. Within one mesh First is below Second; between two, First is of the first mesh.</summary>
public readonly record struct TrianglePair(int First, int Second, Contact Contact) : IComparable<TrianglePair>
{
    public int CompareTo(TrianglePair other) =>
        First != other.First ? First.CompareTo(other.First) : Second.CompareTo(other.Second);

    public static bool operator <(TrianglePair a, TrianglePair b) => a.CompareTo(b) < 0;

    public static bool operator >(TrianglePair a, TrianglePair b) => a.CompareTo(b) > 0;

    public static bool operator <=(TrianglePair a, TrianglePair b) => a.CompareTo(b) <= 0;

    public static bool operator >=(TrianglePair a, TrianglePair b) => a.CompareTo(b) >= 0;
}

/// <summary>Decides about two triangles whose boxes meet. Called from several threads; must not change state.</summary>
internal interface IPairTest
{
    Contact Test(int first, int second);
}

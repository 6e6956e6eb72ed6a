using System.Globalization;

namespace AnatomyPrep.Core.Dicom;

/// <summary>Group and element number of an attribute; ordered as in a file.</summary>
public readonly record struct DicomTag(ushort Group, ushort Element) : IComparable<DicomTag>
{
    private uint Number => ((uint)Group << 16) | Element;

    public static bool operator <(DicomTag a, DicomTag b) => a.Number < b.Number;

    public static bool operator >(DicomTag a, DicomTag b) => a.Number > b.Number;

    public static bool operator <=(DicomTag a, DicomTag b) => a.Number <= b.Number;

    public static bool operator >=(DicomTag a, DicomTag b) => a.Number >= b.Number;

    public int CompareTo(DicomTag other) => Number.CompareTo(other.Number);

    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"({Group:X4},{Element:X4})");
}

namespace AnatomyPrep.Imaging.Pictures;

/// <summary>A colour in sRGB, 8 bits each.</summary>
public readonly record struct Rgb(byte Red, byte Green, byte Blue);

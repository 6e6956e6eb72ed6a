using AnatomyPrep.Core.Findings;
using AnatomyPrep.Core.Running;

namespace AnatomyPrep.Imaging.Acquire;

/// <summary>Room for the samples of a volume: in memory, or for one that would crowd the machine, in a mapped file.</summary>
/// <remarks>
/// The system keeps as much of a mapped file in memory as there is room for, and reads and writes the rest; stages go through a volume slice by slice, so
/// that a volume several times the memory costs two passes over the disk. A DICOM series always lies in such a file (<see cref="VolumeFile"/>).
/// </remarks>
internal static unsafe class SampleMemory
{
    /// <exception cref="BadInputException">Neither memory nor the temporary folder has room for it.</exception>
    public static NativeBuffer<short> For(long samples) =>
        VolumeFile.FitsMemory(samples * sizeof(short)) ? new NativeBuffer<short>(samples) : Mapped(samples);

    /// <summary>In a mapped file, however small.</summary>
    /// <exception cref="BadInputException">There is no room for it.</exception>
    public static NativeBuffer<short> Mapped(long samples)
    {
        var file = new VolumeFile(checked(samples * sizeof(short)));
        try
        {
            return new(file.MapToFill(), samples, file);
        }
        catch
        {
            file.Dispose();
            throw;
        }
    }
}

using System.Runtime.InteropServices;

namespace AnatomyPrep.Core.Running;

/// <summary>Memory for big buffers, in large pages where the system offers them.</summary>
/// <remarks>
/// The first touch of every page costs the kernel about a microsecond, which for 4 KiB pages is more than the work on them: a volume of
/// 134 MB has 33,000. Linux gives 2 MiB pages to memory that asks for them (madvise(2), MADV_HUGEPAGE), except where that is switched off;
/// then, as on other systems, nothing changes but the time.
/// </remarks>
internal static unsafe partial class LargePages
{
    private const nuint LineBytes = 64;
    private const nuint PageBytes = 2 << 20;
    private const int AdviseHugePages = 14;

    /// <summary>Memory to be freed by <see cref="NativeMemory.AlignedFree"/>.</summary>
    public static void* Allocate(nuint bytes)
    {
        // Below two large pages most of the block could not lie in one.
        if (bytes < 2 * PageBytes || !OperatingSystem.IsLinux())
            return NativeMemory.AlignedAlloc(bytes, LineBytes);
        var memory = NativeMemory.AlignedAlloc(bytes, PageBytes);
        // Advice: that it was not taken is no error.
        _ = Advise(memory, bytes / PageBytes * PageBytes, AdviseHugePages);
        return memory;
    }

    [LibraryImport("libc", EntryPoint = "madvise")]
    [DefaultDllImportSearchPaths(DllImportSearchPath.SafeDirectories)]
    private static partial int Advise(void* address, nuint length, int advice);
}

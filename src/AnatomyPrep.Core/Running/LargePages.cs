using System.Runtime.InteropServices;

namespace AnatomyPrep.Core.Running;

/// <summary>Memory for big buffers, in large pages where the system offers them.</summary>
/// <remarks>
/// The first touch of every page costs the kernel about a microsecond, which for 4 KiB pages is more than the work on them: a volume of
/// 134 MB has 33,000. Linux gives 2 MiB pages to memory that asks for them (madvise(2), MADV_HUGEPAGE), except where that is switched off;
/// then, as on other systems, nothing changes but the time.
/// Such memory is mapped and unmapped by itself: the C library keeps freed blocks of up to 32 MB for later, and the process would be that much
/// larger when its next stage has its peak.
/// </remarks>
internal static unsafe partial class LargePages
{
    private const nuint LineBytes = 64;
    private const nuint PageBytes = 2 << 20;

    // mman.h of Linux.
    private const int ReadWrite = 1 | 2;
    private const int PrivateAnonymous = 0x02 | 0x20;
    private const int AdviseHugePages = 14;
    private const nint MapFailed = -1;

    /// <summary>Memory to be freed by <see cref="Free"/> with the same size.</summary>
    public static void* Allocate(nuint bytes) => IsMapped(bytes) ? Map(WholePages(bytes)) : NativeMemory.AlignedAlloc(bytes, LineBytes);

    public static void Free(void* memory, nuint bytes)
    {
        if (IsMapped(bytes))
            _ = Unmap((nint)memory, WholePages(bytes));
        else
            NativeMemory.AlignedFree(memory);
    }

    // Below two large pages most of the block could not lie in one.
    private static bool IsMapped(nuint bytes) => bytes >= 2 * PageBytes && OperatingSystem.IsLinux();

    private static nuint WholePages(nuint bytes)
    {
        var page = (nuint)Environment.SystemPageSize;
        return (bytes + page - 1) / page * page;
    }

    /// <summary>Maps one large page more than asked for, and gives back what lies before the first border of a large page and behind the block.</summary>
    private static void* Map(nuint bytes)
    {
        var mapped = Map(0, bytes + PageBytes, ReadWrite, PrivateAnonymous, -1, 0);
        if (mapped == MapFailed)
            throw new InsufficientMemoryException();
        var before = (PageBytes - ((nuint)mapped % PageBytes)) % PageBytes;
        var memory = mapped + (nint)before;
        if (before > 0)
            _ = Unmap(mapped, before);
        if (before < PageBytes)
            _ = Unmap(memory + (nint)bytes, PageBytes - before);
        // Advice: that it was not taken is no error.
        _ = Advise(memory, bytes / PageBytes * PageBytes, AdviseHugePages);
        return (void*)memory;
    }

    [LibraryImport("libc", EntryPoint = "mmap", SetLastError = true)]
    [DefaultDllImportSearchPaths(DllImportSearchPath.SafeDirectories)]
    private static partial nint Map(nint address, nuint length, int protection, int flags, int file, nint offset);

    [LibraryImport("libc", EntryPoint = "munmap")]
    [DefaultDllImportSearchPaths(DllImportSearchPath.SafeDirectories)]
    private static partial int Unmap(nint address, nuint length);

    [LibraryImport("libc", EntryPoint = "madvise")]
    [DefaultDllImportSearchPaths(DllImportSearchPath.SafeDirectories)]
    private static partial int Advise(nint address, nuint length, int advice);
}

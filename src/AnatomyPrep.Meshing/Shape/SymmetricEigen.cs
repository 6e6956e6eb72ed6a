namespace AnatomyPrep.Meshing.Shape;

/// <summary>Eigenvalues and vectors of a small symmetric matrix.</summary>
/// <remarks>
/// Method: cyclic Jacobi rotations (C. G. J. Jacobi, "Über ein leichtes Verfahren, die in der Theorie der
///   Säcularstörungen vorkommenden Gleichungen numerisch aufzulösen", Crelle 30, 1846), in the stable form of Rutishauser 1966.
/// Gives eigenvalues to a few units in the last place of the largest; vectors orthonormal to the same.
/// </remarks>
internal static class SymmetricEigen
{
    private const int MaxSweeps = 60;

    /// <param name="a">n × n, row-major, symmetric; overwritten, eigenvalues end on the diagonal.</param>
    /// <returns>Eigenvectors as columns, row-major n × n; column i belongs to a[i, i].</returns>
    internal static double[] Solve(double[] a, int n)
    {
        var vectors = new double[n * n];
        for (var i = 0; i < n; i++)
            vectors[(i * n) + i] = 1;
        for (var sweep = 0; sweep < MaxSweeps && OffDiagonal(a, n) > 0; sweep++)
            for (var p = 0; p < n; p++)
                for (var q = p + 1; q < n; q++)
                    Rotate(a, vectors, n, p, q);
        return vectors;
    }

    private static double OffDiagonal(double[] a, int n)
    {
        double sum = 0;
        for (var i = 0; i < n; i++)
            for (var j = i + 1; j < n; j++)
                sum += Math.Abs(a[(i * n) + j]);
        return sum;
    }

    private static void Rotate(double[] a, double[] vectors, int n, int p, int q)
    {
        var apq = a[(p * n) + q];
        if (apq == 0)
            return;
        var theta = (a[(q * n) + q] - a[(p * n) + p]) / (2 * apq);
        // Beyond 1e150 the square would overflow; the rotation is 1 / (2 theta) there.
        var t = Math.Abs(theta) > 1e150 ? 0.5 / theta : Math.CopySign(1 / (Math.Abs(theta) + Math.Sqrt((theta * theta) + 1)), theta);
        var c = 1 / Math.Sqrt((t * t) + 1);
        var s = t * c;
        for (var k = 0; k < n; k++)
            (a[(k * n) + p], a[(k * n) + q]) = ((c * a[(k * n) + p]) - (s * a[(k * n) + q]), (s * a[(k * n) + p]) + (c * a[(k * n) + q]));
        for (var k = 0; k < n; k++)
            (a[(p * n) + k], a[(q * n) + k]) = ((c * a[(p * n) + k]) - (s * a[(q * n) + k]), (s * a[(p * n) + k]) + (c * a[(q * n) + k]));
        a[(p * n) + q] = a[(q * n) + p] = 0;
        for (var k = 0; k < n; k++)
            (vectors[(k * n) + p], vectors[(k * n) + q]) = ((c * vectors[(k * n) + p]) - (s * vectors[(k * n) + q]), (s * vectors[(k * n) + p]) + (c * vectors[(k * n) + q]));
    }
}

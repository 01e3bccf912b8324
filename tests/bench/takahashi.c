/* The plain recursion of Takahashi, a column at a time: what takahashi.py is measured against. Built by large.py.
 *
 * With L a unit lower triangle in compressed columns (rows ascending, the diagonal first) on a closed pattern and D its
 * pivots, Z = (L D L')^-1 on the same pattern, from the last column to the first:
 *
 *     Z_ij = - sum over k > j in column j of L_kj Z_ik        Z_jj = 1 / D_j - sum over k of L_kj Z_kj
 */
void takahashi(long n, const long *starts, const long *rows, const double *lower, const double *pivots, double *z,
               long *place)
{
    for (long i = 0; i < n; i++)
        place[i] = -1;
    for (long j = n - 1; j >= 0; j--) {
        long first = starts[j] + 1, last = starts[j + 1];
        for (long p = first; p < last; p++) {
            place[rows[p]] = p;
            z[p] = 0.0;
        }
        for (long p = first; p < last; p++) {
            long k = rows[p];
            double of_k = lower[p], sum = 0.0;
            z[p] -= of_k * z[starts[k]];
            for (long q = starts[k] + 1; q < starts[k + 1]; q++) {
                long at = place[rows[q]];
                if (at >= 0) {
                    z[at] -= of_k * z[q];
                    sum += lower[at] * z[q];
                }
            }
            z[p] -= sum;
        }
        double own = 1.0 / pivots[j];
        for (long p = first; p < last; p++) {
            own -= lower[p] * z[p];
            place[rows[p]] = -1;
        }
        z[starts[j]] = own;
    }
}

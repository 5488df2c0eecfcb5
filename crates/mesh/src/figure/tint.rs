//! Colours for patches, as on a map: neighbours get different ones.

use super::{Figure, PatchId};
use rayon::prelude::*;

/// How far apart samples of one surface may lie and still touch, in sample spacings.
const TOUCHING: f64 = 1.9;
/// Samples that face further away than this lie on another side of a thin sheet.
const OTHER_SIDE: f64 = -0.2;

impl Figure {
    /// Pairs of patches that touch, lower number first, in rising order, each once.
    #[must_use]
    pub fn patch_borders(&self) -> Vec<(PatchId, PatchId)> {
        let reach = TOUCHING * self.surface.spacing();
        let mut borders: Vec<(PatchId, PatchId)> = self
            .surface
            .samples
            .par_iter()
            .flat_map_iter(|me| {
                let mut others: Vec<(PatchId, PatchId)> = self
                    .surface
                    .within(&me.point, reach)
                    .into_iter()
                    .map(|i| &self.surface.samples[i])
                    .filter(|o| o.patch > me.patch && o.normal.dot(&me.normal) > OTHER_SIDE)
                    .map(|o| (me.patch, o.patch))
                    .collect();
                others.dedup();
                others
            })
            .collect();
        borders.par_sort_unstable();
        borders.dedup();
        borders
    }

    /// A colour number for each patch, from 0 to below `colours`, so that patches that touch
    /// differ wherever so many colours allow it. All colours are used about equally often.
    ///
    /// * `colours`: at least 1; 7 nearly always suffice
    #[must_use]
    pub fn patch_colours(&self, colours: usize) -> Vec<u8> {
        let mut around: Vec<Vec<u32>> = vec![Vec::new(); self.patches.len()];
        for (a, b) in self.patch_borders() {
            around[a.index()].push(b.0);
            around[b.index()].push(a.0);
        }
        // The patch with most neighbours chooses first (Welsh & Powell 1967, Comput. J. 10:85).
        let mut order: Vec<usize> = (0..around.len()).collect();
        order.sort_by_key(|p| (std::cmp::Reverse(around[*p].len()), *p));
        let mut chosen = vec![u8::MAX; around.len()];
        let mut used = vec![0_usize; colours.clamp(1, 255)];
        for patch in order {
            let mut near = vec![0_usize; used.len()];
            for other in &around[patch] {
                if let Some(n) = near.get_mut(usize::from(chosen[*other as usize])) {
                    *n += 1;
                }
            }
            let best = (0..used.len()).min_by_key(|c| (near[*c], used[*c], *c));
            let best = best.unwrap_or(0);
            used[best] += 1;
            chosen[patch] = best as u8;
        }
        chosen
    }
}

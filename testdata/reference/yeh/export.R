# Writes the plain-cement mixes (no slag, no fly ash) of the data set "concrete"
# of the R package modeldata to yeh-plain-cement.csv, in the order of the package.
library(modeldata)
data(concrete)
stopifnot(nrow(concrete) == 1030)
plain <- concrete[concrete$blast_furnace_slag == 0 & concrete$fly_ash == 0, ]
plain <- plain[c("cement", "water", "superplasticizer", "coarse_aggregate",
                 "fine_aggregate", "age", "compressive_strength")]
write.csv(as.data.frame(plain), "yeh-plain-cement.csv", row.names = FALSE, quote = FALSE)

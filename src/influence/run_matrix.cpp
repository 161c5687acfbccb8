#include "run_matrix.hpp"

#include <algorithm>

#include "base/linear_algebra.hpp"
#include "runs/used_runs.hpp"

namespace trimwright {
namespace {

std::string quoted_list(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (i > 0) text += i + 1 == names.size() ? " and " : ", ";
    text += "\"" + names[i] + "\"";
  }
  return text;
}

/// U of all planes, one row per run.
Eigen::MatrixXcd all_unbalance(const Job& job, const std::vector<std::size_t>& runs) {
  Eigen::MatrixXcd u(static_cast<Eigen::Index>(runs.size()),
                     static_cast<Eigen::Index>(job.rotor.planes.size()));
  for (std::size_t r = 0; r < runs.size(); ++r) {
    const auto row = run_unbalance(job, runs[r]);
    for (std::size_t p = 0; p < row.size(); ++p)
      u(static_cast<Eigen::Index>(r), static_cast<Eigen::Index>(p)) = row[p];
  }
  return u;
}

/// `u` less the mean of its column over the runs that share a baseline.
Eigen::MatrixXcd within_baselines(const Job& job, const std::vector<std::size_t>& runs,
                                  const Eigen::MatrixXcd& u) {
  Eigen::MatrixXcd centred = u;
  Eigen::Index from = 0;
  for (Eigen::Index r = 1; r <= u.rows(); ++r) {
    if (r < u.rows() &&
        !new_baseline_between(job, runs[static_cast<std::size_t>(from)], runs[static_cast<std::size_t>(r)]))
      continue;
    centred.middleRows(from, r - from).rowwise() -= u.middleRows(from, r - from).colwise().mean();
    from = r;
  }
  return centred;
}

/// Planes whose weights changed between runs that share a baseline.
std::vector<std::size_t> changed_on_a_baseline(const Job& job, const std::vector<std::size_t>& runs) {
  std::vector<std::size_t> planes;
  for (auto from = runs.begin(); from != runs.end();) {
    const auto to = std::find_if(from, runs.end(),
                                 [&](std::size_t run) { return new_baseline_between(job, *from, run); });
    for (const std::size_t p : planes_changed(job, {from, to})) planes.push_back(p);
    from = to;
  }
  return planes;
}

/// Planes that take part in a direction the runs leave open.
std::vector<std::string> entangled_planes(const Job& job, const RunMatrix& matrix,
                                          const Eigen::MatrixXcd& null_space) {
  std::vector<std::string> names;
  for (std::size_t p = 0; p < matrix.planes.size(); ++p)
    if (null_space.row(static_cast<Eigen::Index>(p)).cwiseAbs().maxCoeff() > 1e-6)
      names.push_back(job.rotor.planes[matrix.planes[p]].name);
  return names;
}

Error not_separated(const Job& job, const RunMatrix& matrix, const Eigen::MatrixXcd& null_space) {
  const auto names = entangled_planes(job, matrix, null_space);
  return {"the runs cannot separate planes " + quoted_list(names) +
              ": their weights were always changed together and in one proportion",
          "one more run in which the weights of \"" + names.front() + "\" alone differ from another run's",
          {}};
}

Result<std::vector<std::size_t>> planes_to_solve(const Job& job, const std::vector<std::size_t>& runs,
                                                 const std::vector<std::size_t>& wanted) {
  const auto changed = changed_on_a_baseline(job, runs);
  const auto moved = [&](std::size_t p) {
    return std::find(changed.begin(), changed.end(), p) != changed.end();
  };
  for (const std::size_t p : planes_changed(job, runs))
    if (!moved(p))
      return fail("the runs cannot tell how plane \"" + job.rotor.planes[p].name +
                      "\" acts: its weights changed only where the baseline is new",
                  "one more run since then in which the weights of \"" + job.rotor.planes[p].name +
                      "\" alone differ from another run's");
  for (const std::size_t p : wanted)
    if (!moved(p))
      return fail(
          "the runs cannot tell how plane \"" + job.rotor.planes[p].name +
              "\" acts: no run changed its weights",
          "a trial run with a known weight in \"" + job.rotor.planes[p].name + "\", or a trim without it");
  std::vector<std::size_t> planes = wanted;
  planes.insert(planes.end(), changed.begin(), changed.end());
  std::sort(planes.begin(), planes.end());
  planes.erase(std::unique(planes.begin(), planes.end()), planes.end());
  if (planes.empty())
    return fail("the runs cannot tell how any plane acts: no run changed a weight",
                "a trial run with a known weight in plane \"" + job.rotor.planes.front().name + "\"");
  return planes;
}

}  // namespace

Eigen::RowVectorXcd RunMatrix::design_row(std::size_t run) const {
  Eigen::RowVectorXcd row(1 + unbalance.cols());
  row(0) = 1.0;
  row.tail(unbalance.cols()) = (unbalance.row(static_cast<Eigen::Index>(run)) - centre.transpose())
                                   .cwiseQuotient(scale.transpose().cast<std::complex<double>>());
  return row;
}

Result<RunMatrix> run_matrix(const Job& job, const std::vector<std::size_t>& wanted) {
  RunMatrix matrix;
  matrix.runs = runs_used(job);
  if (matrix.runs.empty())
    return fail("no run is left to use",
                "a baseline run and a trial run in each plane that are not set aside");

  const Eigen::MatrixXcd all = all_unbalance(job, matrix.runs);
  auto planes = planes_to_solve(job, matrix.runs, wanted);
  if (!planes) return tl::unexpected(planes.error());
  matrix.planes = *planes;
  matrix.unbalance.resize(all.rows(), static_cast<Eigen::Index>(matrix.planes.size()));
  for (std::size_t p = 0; p < matrix.planes.size(); ++p)
    matrix.unbalance.col(static_cast<Eigen::Index>(p)) = all.col(static_cast<Eigen::Index>(matrix.planes[p]));

  matrix.centre = matrix.unbalance.colwise().mean().transpose();
  Eigen::MatrixXcd scaled = within_baselines(job, matrix.runs, matrix.unbalance);
  matrix.scale = scaled.colwise().norm().transpose();
  for (Eigen::Index p = 0; p < scaled.cols(); ++p) scaled.col(p) /= matrix.scale(p);

  const auto svd = singular_values(scaled, true);
  const auto& singular = svd.values;
  const Eigen::Index rank = (singular.array() > rank_tolerance * singular(0)).count();
  matrix.rank = static_cast<int>(rank) + 1;
  if (rank < scaled.cols())
    return tl::unexpected(not_separated(job, matrix, svd.v.rightCols(scaled.cols() - rank)));
  matrix.condition = singular(0) / singular(rank - 1);
  return matrix;
}

}  // namespace trimwright
